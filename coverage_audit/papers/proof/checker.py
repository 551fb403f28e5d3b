"""The page that checks a proof without anything installed: one file, which sends and loads nothing."""

from __future__ import annotations

import json
from importlib.resources import files

from .page import FIGURES, LABEL, MONTHS, NOT_SAID, UNITS, US
from .record import SCHEMA
from .rests import QUANTITY, RESTS, SAYS
from .sign import CURVE_D
from .tolerances import LARGEST_BYTES

CHECKER = "check-a-proof.html"


def checker_page() -> str:
    """The page, with the words of this version: the same bytes each time.

    It checks the record of a file: its one text, its signature (Ed25519 of the browser) and its key. What a page or a
    PDF shows around its record it does not compare, and says so.
    """
    words = {
        "schema": SCHEMA,
        "says": SAYS,
        "rests": {key: [line.name, line.origin, line.cases] for key, line in RESTS.items()},
        "figures": FIGURES,
        "label": LABEL,
        "units": UNITS,
        "us": {unit: [float(size), -int(step.as_tuple().exponent), name] for unit, (size, step, name) in US.items()},
        "limits": NOT_SAID,
        "months": MONTHS,
        "quantity": QUANTITY.pattern,
        "largest": LARGEST_BYTES,
        "d": str(CURVE_D),
    }
    page = (files("coverage_audit.papers") / "templates" / CHECKER).read_text(encoding="utf-8")
    return page.replace("{{ words }}", json.dumps(words).replace("<", "\\u003c"))
