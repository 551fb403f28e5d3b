"""How a metric unit looks in words told to a person."""

import re

METRIC_UNIT = re.compile(
    r"\d[\s\u00a0]*(?:mm|cm|m|km|m2|m²|ha|L|L/ha|L/min|km/h|m/s|kg|kg/ha|bar|kPa)\b|\b(?:metre|hectare|litre)s?\b"
)
