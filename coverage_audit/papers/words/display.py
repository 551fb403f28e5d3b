"""Numbers, quantities and dates as a person reads them: the only place that rounds.

Every ``units`` argument is "metric" or "us", as in :class:`coverage_audit.jobs.settings.ReportSettings`.
Spaces inside a quantity are no-break spaces, so that no line ends between number and unit.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from coverage_audit.jobs.job import SEEN, boom_state
from coverage_audit.papers.words.rate import NO_VOLUME
from coverage_audit.units import ACRE_M2, FOOT_M, HECTARE_M2, MILE_M, MPH_M_S, RATE_L_HA, SPEED_M_S, US_GALLON_L

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.recipe.result import Audit

_SPANS = ((3 * 86_400, 3600, 24, "days", "h"), (3600, 60, 60, "h", "min"), (60, 1, 60, "min", "s"))
"""From how long on a span is told in so many seconds, how many of them make the larger unit, both units. [s]"""
NOT_KNOWN = "not known"
SPACE = "\u00a0"
ALIKE_SHARE = 0.2
"""A value of at least this share of the far end of its range chooses the unit of both. [1]"""
WHERE_WORDS = {
    "between passes": "between passes",
    "headland": "on the headland",
    "field edge": "at the field edge",
    "no-spray area": "beside a no-spray area",
    "late on": "boom came on late",
    "early off": "boom went off early",
}


class _Unit(NamedTuple):
    name: str
    size: float


class _System(NamedTuple):
    """The units of one system; ``size`` is in m2, m, L/ha, L and m/s."""

    land: _Unit
    ground: _Unit
    length: _Unit
    way: _Unit
    rate: _Unit
    volume: _Unit
    speed: _Unit
    least_land_m2: float
    least_way_m: float
    thousands: str


# Land is told in hectares or acres only where two decimals still say something: below a
# tenth of a hectare or a quarter of an acre a person paces metres or feet.
_SYSTEMS = {
    "metric": _System(
        land=_Unit("ha", HECTARE_M2),
        ground=_Unit("m²", 1.0),
        length=_Unit("m", 1.0),
        way=_Unit("km", 1000.0),
        rate=_Unit("L/ha", 1.0),
        volume=_Unit("L", 1.0),
        speed=_Unit("km/h", SPEED_M_S["km/h"]),
        least_land_m2=HECTARE_M2 / 10,
        least_way_m=1000.0,
        thousands=SPACE,
    ),
    "us": _System(
        land=_Unit("ac", ACRE_M2),
        ground=_Unit("ft²", FOOT_M**2),
        length=_Unit("ft", FOOT_M),
        way=_Unit("mi", MILE_M),
        rate=_Unit("gal/ac", RATE_L_HA["gal/ac"]),
        volume=_Unit("gal", US_GALLON_L),
        speed=_Unit("mph", MPH_M_S),
        least_land_m2=ACRE_M2 / 4,
        least_way_m=MILE_M,
        thousands=",",
    ),
}


def number(value: float, decimals: int = 0, units: str = "metric") -> str:
    """*value* with grouped thousands: a comma in US units, a no-break space in metric ones."""
    text = f"{value:,.{decimals}f}"
    if float(text.replace(",", "")) == 0.0:
        text = text.lstrip("-")
    return text.replace(",", _SYSTEMS[units].thousands)


def _quantity(value: float | None, unit: _Unit, decimals: int | None, units: str) -> str:
    """*value* in *unit*; by default with three significant digits, whole from 100 on."""
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    scaled = value / unit.size
    if decimals is None:
        size = abs(scaled)
        # 99.95 and 9.995 would round up to one digit more than their class has.
        decimals = 0 if size >= 99.95 or size == 0 else 1 if size >= 9.995 else 2
    return f"{number(scaled, decimals, units)}{SPACE}{unit.name}"


def area(m2: float, units: str) -> str:
    """Area [m2] in hectares or acres with two decimals; small ones as :func:`small_area`."""
    system = _SYSTEMS[units]
    if abs(m2) < system.least_land_m2:
        return small_area(m2, units)
    return _quantity(m2, system.land, 2, units)


def area_range(low_m2: float, high_m2: float, units: str) -> tuple[str, str]:
    """Both ends of a range of areas [m2] in one unit, that of the smaller; "nothing" for an end at zero."""
    if low_m2 <= 0:
        return "nothing", area(high_m2, units) if high_m2 > 0 else "nothing"
    shown = area if low_m2 >= _SYSTEMS[units].least_land_m2 else small_area
    return shown(low_m2, units), shown(high_m2, units)


def areas_alike(m2: Sequence[float], units: str) -> list[str]:
    """Areas [m2] all in one unit, with as many decimals: as fits the first, or a far larger one among them."""
    system, most = _SYSTEMS[units], max(m2)
    if m2[0] >= ALIKE_SHARE * most:
        most = m2[0]
    if most >= system.least_land_m2:
        return [_quantity(one, system.land, 2, units) for one in m2]
    decimals = 1 if 0 < most / system.ground.size < 9.95 else 0
    return [_quantity(one, system.ground, decimals, units) for one in m2]


def without_unit(quantity: str) -> str:
    """The number of a quantity written here, without its unit."""
    return quantity.rpartition(SPACE)[0]


def small_area(m2: float, units: str) -> str:
    """Area [m2] in whole m² or ft², with one decimal below ten; "less than 0.1" is said so."""
    unit = _SYSTEMS[units].ground
    scaled = abs(m2) / unit.size
    if 0 < scaled < 0.1:
        return f"less than 0.1{SPACE}{unit.name}"
    return _quantity(m2, unit, 1 if 0 < scaled < 9.95 else 0, units)


def length(m: float, units: str) -> str:
    """Length [m] in m or ft (one decimal below 30, two below one unit); far ones in km or miles."""
    system = _SYSTEMS[units]
    if abs(m) >= system.least_way_m:
        return _quantity(m, system.way, 2, units)
    size = abs(m) / system.length.size
    return _quantity(m, system.length, 2 if 0 < size < 0.995 else 1 if 0 < size < 29.95 else 0, units)


def rough_length(m: float, units: str) -> str:
    """Length [m] as one says it: whole feet or half metres from half a metre on, else cm or inches."""
    if units == "us":
        feet = m / FOOT_M
        return f"{feet:.0f}{SPACE}ft" if feet >= 1.5 else f"{max(round(feet * 12), 1)}{SPACE}in"
    return f"{round(2 * m) / 2:g}{SPACE}m" if m >= 0.75 else f"{max(round(100 * m), 1)}{SPACE}cm"


def rate(l_ha: float | None, units: str) -> str:
    """Spray rate [L/ha] in L/ha or gal/ac; None gives "not known"."""
    return _quantity(l_ha, _SYSTEMS[units].rate, None, units)


def volume(litres: float | None, units: str) -> str:
    """Volume [L] in L or US gal; None gives "not known"."""
    return _quantity(litres, _SYSTEMS[units].volume, None, units)


def speed(m_s: float, units: str) -> str:
    """Speed [m/s] in km/h or mph with one decimal."""
    return _quantity(m_s, _SYSTEMS[units].speed, 1, units)


def share(part: float, whole: float) -> str:
    """*part* of *whole* in percent, one decimal.

    Never rounded to "100 %" while something is missing, nor to "0 %" while something is there.
    """
    if not whole > 0 or not math.isfinite(part):
        return NOT_KNOWN
    percent = 100 * part / whole
    if percent == 0:
        return f"0{SPACE}%"
    if percent < 0.05:
        return f"less than 0.1{SPACE}%"
    if percent >= 99.95:
        # A sum that should be exactly the whole may miss it by rounding of floats.
        return f"100{SPACE}%" if math.isclose(part, whole, rel_tol=1e-9) else f"more than 99.9{SPACE}%"
    return f"{percent:.1f}{SPACE}%"


def duration(s: float) -> str:
    """Time span [s] as "4 days 2 h", "1 h 24 min", "12 min 30 s" or "8 s"."""
    for least, part, whole, large, small in _SPANS:
        if round(s) >= least:
            many, few = divmod(round(s / part), whole)
            return f"{many}{SPACE}{large}" + (f" {few}{SPACE}{small}" if few else "")
    return f"{round(s)}{SPACE}s"


def _local(time_s: float, timezone: str) -> dt.datetime:
    return dt.datetime.fromtimestamp(time_s, ZoneInfo(timezone))


def local_date(time_s: float, timezone: str) -> str:
    """Date of *time_s* [s since 1970 UTC] in the IANA zone *timezone*: "30 May 2026"."""
    local = _local(time_s, timezone)
    return f"{local.day} {local:%b %Y}"


def local_time(time_s: float, timezone: str) -> str:
    """Time of day of *time_s* [s since 1970 UTC] in *timezone*: "07:02"."""
    return f"{_local(time_s, timezone):%H:%M}"


def local_clock(time_s: float, timezone: str) -> str:
    """Time of day of *time_s* [s since 1970 UTC] in *timezone* to the second: "07:02:31"."""
    return f"{_local(time_s, timezone):%H:%M:%S}"


def local_datetime(time_s: float, timezone: str) -> str:
    """Date, time and zone of *time_s* [s since 1970 UTC]: "30 May 2026, 07:02 MDT"."""
    zone = f"{_local(time_s, timezone):%Z}"
    shown = f"UTC{zone[0]}{zone[1:].lstrip('0') or '0'}" if zone[:1] in "+-" else zone  # a zone without a name
    return f"{local_date(time_s, timezone)}, {local_time(time_s, timezone)} {shown}"


def count(n: int, one: str, many: str = "") -> str:
    """*n* with its noun: "1 strip", "3 strips"."""
    return f"{n}{SPACE}{one if n == 1 else many or one + 's'}"


# --- the verdict --------------------------------------------------------------------------


@dataclass(frozen=True)
class Verdict:
    """What the audit found, in sentences for the person.

    ``headline`` is one sentence, ``sentences`` support it, ``caution`` is "" unless the
    closing sums failed.
    """

    headline: str
    sentences: tuple[str, ...]
    caution: str = ""


def verdict(audit: Audit, causes: Mapping[str, str]) -> Verdict:
    """Put *audit* in words: proven covered share, missed, double, outside, rate.

    *causes* says by its id where each finding lies and what made it.
    """
    areas, units = audit.area_m2, audit.job.settings.report.units
    proven = f"{area(areas.proven, units)} of the {area(areas.target, units)} target area"
    sentences = [
        f"Proven covered: {proven}.",
        *_bridged(audit),
        *_dry(audit),
        _missed(audit, causes),
        _double(audit),
        _outside(audit),
    ]
    if not audit.checks.ok or boom_state(audit.job) not in SEEN:
        counted = f"{area(areas.covered, units)} of the {area(areas.target, units)} target area"
        sentences[0] = f"Covered: {counted}, not proven."
    return Verdict(_headline(audit), (*sentences, *_rate(audit)), _check_caution(audit))


def _headline(audit: Audit) -> str:
    areas, strips = audit.area_m2, audit.missed_strips
    if not areas.target > 0:
        return "There is no target area: no-spray areas and setbacks take up the whole field."
    walk = f"{count(len(strips), 'missed strip')} in the log" if strips else "no missed strip wide enough to list"
    if not audit.checks.ok or boom_state(audit.job) not in SEEN:
        return f"Not proven: {share(areas.covered, areas.target)} of the target area counts as covered; {walk}."
    return f"{share(areas.proven, areas.target)} of the target area is proven covered; {walk}."


def _bridged(audit: Audit) -> list[str]:
    areas, units = audit.area_m2, audit.job.settings.report.units
    if areas.bridged <= 0:
        return []
    text = f"A further {area(areas.bridged, units)} counts as covered only by bridging short gaps in the log; "
    return [text + "it is not in the proven figure."]


def _dry(audit: Audit) -> list[str]:
    areas, units = audit.area_m2, audit.job.settings.report.units
    if not areas.perhaps_dry:
        return []
    text = f"A further {area(areas.perhaps_dry, units)} was sprayed only after the tank may have run dry; "
    return [text + "it is not in the proven figure."]


def _missed(audit: Audit, causes: Mapping[str, str]) -> str:
    areas, report = audit.area_m2, audit.job.settings.report
    units, strips = report.units, audit.missed_strips
    logged = _as_logged(audit)
    if areas.missed <= 0:
        return f"Missed{logged}: nothing."
    narrow = length(report.min_width_m, units)
    text = f"Missed{logged}: {area(areas.missed, units)} ({share(areas.missed, areas.target)})"
    if not strips:
        return f"{text}, all of it in slivers narrower than {narrow}."
    first = strips[0]
    largest = (
        f"{first.id}, {length(first.length_m, units)} long and on average {length(first.mean_width_m, units)} wide, "
        f"{causes[first.id]}"
    )
    held = count(len(strips), "strip")
    if areas.missed_slivers > 0:
        listed, rest = area(areas.missed - areas.missed_slivers, units), area(areas.missed_slivers, units)
        text += f": {listed} in {held} and {rest} in slivers narrower than {narrow}"
    else:
        text += f" in {held}"
    return f"{text}; {'the largest is' if len(strips) > 1 else 'it is'} {largest}."


def _as_logged(audit: Audit) -> str:
    """Words that tell the log's own figure from what GPS error leaves of it."""
    return " as logged" if audit.accuracy and audit.accuracy.asked and audit.accuracy.replicates else ""


def _double(audit: Audit) -> str:
    areas, units = audit.area_m2, audit.job.settings.report.units
    if areas.double <= 0:
        return f"Sprayed twice or more{_as_logged(audit)}: nothing."
    text = (
        f"Sprayed twice or more{_as_logged(audit)}: {area(areas.double, units)} ({share(areas.double, areas.target)})"
    )
    most = len(areas.by_visits) - 1
    return f"{text}, in places {most} times." if most > 2 else f"{text}."


def _outside(audit: Audit) -> str:
    areas, units = audit.area_m2, audit.job.settings.report.units
    outside = area(areas.outside, units) if areas.outside > 0 else "nothing"
    excluded = area(areas.excluded_sprayed, units) if areas.excluded_sprayed > 0 else "nothing"
    return f"Sprayed beyond the field boundary: {outside}; in no-spray areas and setbacks: {excluded}."


def _rate(audit: Audit) -> list[str]:
    volume_, units = audit.volume, audit.job.settings.report.units
    if volume_.over_covered_l_ha is None:
        return [f"Rate: {NOT_KNOWN}{'' if volume_.source else '; ' + NO_VOLUME}".rstrip(".") + "."]
    text = f"Rate over the covered ground: {rate(volume_.over_covered_l_ha, units)}"
    if volume_.target_l_ha:
        text += f", intended {rate(volume_.target_l_ha, units)}"
    if volume_.over_swept_l_ha is not None:
        text += f" ({rate(volume_.over_swept_l_ha, units)} with ground sprayed twice counted twice)"
    return [f"{text}.", *_rate_spread(audit)]


def _rate_spread(audit: Audit) -> list[str]:
    """How much of the covered ground got what was meant, and how much got more than the label's most."""
    if audit.rate is None:
        return []
    bands, units, covered = audit.rate.bands, audit.job.settings.report.units, audit.area_m2.covered
    told = []
    if None not in (bands.within_10pct_m2, bands.under_90pct_m2, bands.over_110pct_m2):
        within, under, over = (
            share(part or 0.0, covered) for part in (bands.within_10pct_m2, bands.under_90pct_m2, bands.over_110pct_m2)
        )
        told.append(
            f"Spot by spot: {within} of the covered ground got the intended rate within 10 %, "
            f"{under} less, {over} more."
        )
    if bands.above_label_max_m2:
        told.append(f"More mix than the label's most, as typed in, fell on {area(bands.above_label_max_m2, units)}.")
    return told


def _check_caution(audit: Audit) -> str:
    checks = audit.checks
    if checks.ok:
        return ""
    return (
        "The sums of this audit do not close well enough "
        f"(two independent counts differ by {100 * checks.cross_check_rel:.2f}{SPACE}% of the field, "
        f"the sums close to {100 * checks.closure_rel:.2g}{SPACE}%): take no figure here as proof."
    )


def utc_text(time_s: float) -> str:
    """Write a time [s since 1970 UTC] as ISO 8601 with Z, with a fraction only when there is one."""
    # Floats of this size hold about 0.2 microseconds, so rounding to microseconds loses nothing.
    moment = dt.datetime.fromtimestamp(0, dt.UTC) + dt.timedelta(microseconds=round(time_s * 1e6))
    text = moment.replace(tzinfo=None).isoformat(timespec="microseconds")
    return text.rstrip("0").rstrip(".") + "Z"
