"""The rate in the report: picture, legend, places above the label's most, speed, tank, nozzles, products."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.papers.templating import filled
from coverage_audit.papers.tolerances import ROWS_SHOWN
from coverage_audit.papers.words.display import (
    NOT_KNOWN,
    SPACE,
    area,
    count,
    duration,
    length,
    local_time,
    number,
    rate,
    share,
    small_area,
    speed,
    volume,
)
from coverage_audit.papers.words.rate import REFILLS
from coverage_audit.rate.classes import RAMP
from coverage_audit.rate.tolerances import LEAST_RATE_PLACE_M2, RATE_CELL_M
from coverage_audit.units import HECTARE_M2, MASS_KG, US_FLUID_OUNCE_L, VOLUME_L

from .charts import Bar, Chart
from .figure import NOTHING, Figure
from .rate_picture import RatePicture

if TYPE_CHECKING:
    from markupsafe import Markup
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.drive.plane import Plane
    from coverage_audit.jobs.settings import Amount
    from coverage_audit.rate.model import ProductUse, RateResult
    from coverage_audit.recipe.result import Audit

    from .figure import Sheet

SOURCE_WORDS = {
    "logged flow": "the meter's, from the log",
    "logged pressure": "the nozzles' as typed in, at the pressure in the log",
    "nozzles": "the nozzles', at the pressure typed in",
    "flow": "the whole boom's, as typed in",
    "applied": "what left the tank, spread over the time sprayed",
}
CAUSE_WORDS = {
    "overlap": "passes overlap: each gave its dose",
    "turn": "inside of a turn: that end of the boom moved slowly",
    "slow-down": "driven slowly",
    "start": "slow start after switching on",
}
UNIT_SIZE = VOLUME_L | MASS_KG
CHART_HEIGHT = 160
CHART_WIDTH = 600


@dataclass(frozen=True)
class RatePlaceRow:
    """One place in words; ``kind`` is its map class."""

    id: str
    kind: str
    size: str
    what: str
    why: str
    lat: str
    lon: str


@dataclass(frozen=True)
class SpeedLine:
    """Speed along the job as SVG paths in a box of ``CHART_WIDTH`` x ``CHART_HEIGHT``, and its axis in words."""

    on: str
    off: str
    ticks: tuple[tuple[float, str], ...]
    begin: str
    end: str


@dataclass(frozen=True)
class RateSection:
    """All that the template needs, in words."""

    sentences: tuple[str, ...]
    picture: RatePicture | None
    outline: str
    corners: tuple[float, float, float, float] | None
    legend: tuple[tuple[str, str], ...]
    chart: Chart | None
    speed: SpeedLine
    places: tuple[RatePlaceRow, ...]
    small: str
    least: str
    label_max: str
    dry: tuple[RatePlaceRow, ...]
    standing: tuple[RatePlaceRow, ...]
    tables: tuple[tuple[str, tuple[str, ...], tuple[tuple[str, ...], ...]], ...]


def rate_section(audit: Audit, plane: Plane) -> RateSection | None:
    """Rate part of the page, in the job's units; None when the audit has none."""
    found, settings = audit.rate, audit.job.settings
    if found is None:
        return None
    units, limit = settings.report.units, settings.rate.label_max_l_ha
    about = found.bands.target_l_ha or found.bands.mean_l_ha
    picture = RatePicture(found.cells, about) if found.cells is not None and about else None
    small = found.above_label_small_m2 or 0.0
    tables = (_loads(audit, found), _catch(found, units), *(_product(use, units) for use in found.products))
    return RateSection(
        sentences=(*_sentences(found, units), *_capacity_sentences(audit, found)),
        picture=picture,
        outline=picture.path(audit.layers.field) if picture else "",
        corners=_corners(picture, plane) if picture else None,
        legend=_legend(found, units) if picture else (),
        chart=_area_chart(audit, found) if found.classes else None,
        speed=_speed_line(audit, found),
        places=_places(found, plane, units),
        small=f"Smaller ones add up to {small_area(small, units)}." if small > 0 else "",
        least=small_area(LEAST_RATE_PLACE_M2, units),
        label_max="" if limit is None else rate(limit, units),
        dry=_dry(audit, found, plane),
        standing=_standing(audit, found, plane),
        tables=tuple(table for table in tables if table[2]),
    )


def _corners(picture: RatePicture, plane: Plane) -> tuple[float, float, float, float]:
    """South, west, north, east of the picture. [deg]"""
    west, south, east, north = picture.bounds_m
    lon, lat = plane.to_degrees([west, east], [south, north])
    return float(lat[0]), float(lon[0]), float(lat[1]), float(lon[1])


# --- in words -------------------------------------------------------------------------------------


def _sentences(found: RateResult, units: str) -> list[str]:
    bands = found.bands
    if found.source is None:
        return ["No flow, nozzles or volume is given, so the rate on the ground is not known."]
    told = [f"Flow used: {SOURCE_WORDS[found.source]}."]
    if bands.target_l_ha is not None and bands.within_10pct_m2 is not None:
        under, over = bands.under_90pct_m2 or 0.0, bands.over_110pct_m2 or 0.0
        whole = bands.within_10pct_m2 + under + over
        told.append(
            f"Of the covered ground {share(bands.within_10pct_m2, whole)} got within 10{SPACE}% of the intended "
            f"{rate(bands.target_l_ha, units)}; {share(under, whole)} ({area(under, units)}) got less, "
            f"{share(over, whole)} ({area(over, units)}) got more."
        )
    if bands.mean_l_ha is not None and bands.cv is not None:
        told.append(
            f"On average the covered ground got {rate(bands.mean_l_ha, units)}, with a coefficient of variation of "
            f"{number(100 * bands.cv)}{SPACE}%; the most on any spot is {rate(found.max_l_ha, units)}."
        )
    if found.standing_l:
        told.append(f"{volume(found.standing_l, units)} went out while the sprayer stood still.")
    if found.closure is not None:
        told.append(
            f"Check: what lies on the map adds up to {number(100 * found.closure, 3)}{SPACE}% of what left the nozzles."
        )
    return told


def _capacity_sentences(audit: Audit, found: RateResult) -> list[str]:
    pace, able, units = found.speed, found.capacity, audit.job.settings.report.units
    told = []
    if pace.mean_m_s is not None and pace.p05_m_s is not None and pace.p95_m_s is not None:
        told.append(
            f"Speed while spraying: {speed(pace.mean_m_s, units)} on average, nine tenths of the time between "
            f"{speed(pace.p05_m_s, units)} and {speed(pace.p95_m_s, units)}."
        )
    if able.actual_ha_h is not None and able.theoretical_ha_h is not None and able.field_efficiency is not None:
        done, could = (f"{area(ha * HECTARE_M2, units)}/h" for ha in (able.actual_ha_h, able.theoretical_ha_h))
        told.append(
            f"Field capacity: {done} from the first spraying to the last, stops and turns included; without them it "
            f"would be {could}. Field efficiency: {number(100 * able.field_efficiency)}{SPACE}%."
        )
    return told


def _legend(found: RateResult, units: str) -> tuple[tuple[str, str], ...]:
    """Colour and words of each class, in the person's unit."""
    entries = []
    for colour, one in zip(RAMP, found.classes, strict=True):
        if one.low_l_ha <= 0:
            words = f"under {rate(one.high_l_ha, units)}"
        elif np.isfinite(one.high_l_ha):
            words = f"{rate(one.low_l_ha, units).split(SPACE)[0]} to {rate(one.high_l_ha, units)}"
        else:
            words = f"{rate(one.low_l_ha, units)} and more"
        target = found.bands.target_l_ha
        within = target is not None and one.low_l_ha < target < one.high_l_ha
        entries.append((colour, words + (f" (within 10{SPACE}% of the intended rate)" if within else "")))
    return tuple(entries)


def _area_chart(audit: Audit, found: RateResult) -> Chart:
    units = audit.job.settings.report.units
    whole = sum(one.area_m2 for one in found.classes)
    top = max((one.area_m2 for one in found.classes), default=0.0)
    bars = tuple(
        Bar(words, f"{area(one.area_m2, units)}, {share(one.area_m2, whole)}", one.area_m2 / top, f"rate-{rank}")
        for rank, ((_, words), one) in enumerate(zip(_legend(found, units), found.classes, strict=True))
        if top > 0
    )
    cell_m = RATE_CELL_M if found.cells is None else found.cells.cell_m
    return Chart("Covered ground by rate", f"Means over cells of {_side(cell_m, units)}.", bars)


def _side(cell_m: float, units: str) -> str:
    if units == "us":
        return length(cell_m, units)
    return "a quarter of a metre" if cell_m == RATE_CELL_M else f"{cell_m:g}{SPACE}m"


def _speed_line(audit: Audit, found: RateResult) -> SpeedLine:
    units, zone = audit.job.settings.report.units, audit.job.settings.timezone
    profile = found.speed
    top = max(float(np.nanmax(profile.profile_m_s, initial=0.0)), 0.1) * 1.05
    x = np.linspace(0, CHART_WIDTH, len(profile.profile_s))
    y = CHART_HEIGHT * (1 - np.clip(profile.profile_m_s / top, 0, 1))
    known = np.isfinite(profile.profile_m_s)
    ticks = tuple((CHART_HEIGHT * (1 - level / 4 / 1.05), speed(top / 1.05 * level / 4, units)) for level in (2, 4))
    return SpeedLine(
        on=_path(x, y, known & profile.profile_on),
        off=_path(x, y, known & ~profile.profile_on),
        ticks=ticks,
        begin=local_time(float(profile.profile_s[0]), zone),
        end=local_time(float(profile.profile_s[-1]), zone),
    )


def _path(x: np.ndarray, y: np.ndarray, drawn: np.ndarray) -> str:
    """SVG path along the points that are drawn, each joined to the one after it."""
    parts = []
    for run in np.split(np.arange(len(x)), np.flatnonzero(np.diff(drawn)) + 1):
        if drawn[run[0]]:
            whole = np.append(run, run[-1] + 1) if run[-1] + 1 < len(x) and np.isfinite(y[run[-1] + 1]) else run
            parts.append("M" + " ".join(f"{px:.0f},{py:.1f}" for px, py in zip(x[whole], y[whole], strict=True)))
    return "".join(parts)


# --- places ---------------------------------------------------------------------------------------


def _row(own: str, kind: str, words: tuple[str, str, str], point: BaseGeometry, plane: Plane) -> RatePlaceRow:
    lon, lat = plane.to_degrees(point.x, point.y)
    return RatePlaceRow(own, kind, *words, f"{float(lat):.6f}", f"{float(lon):.6f}")


def _places(found: RateResult, plane: Plane, units: str) -> tuple[RatePlaceRow, ...]:
    rows = []
    for place in found.places:
        got = f"{rate(place.mean_l_ha, units)} on average, {rate(place.max_l_ha, units)} at most"
        words = (small_area(place.area_m2, units), got, CAUSE_WORDS[place.cause])
        rows.append(_row(place.id, "above", words, place.polygon.representative_point(), plane))
    return tuple(rows)


def _dry(audit: Audit, found: RateResult, plane: Plane) -> tuple[RatePlaceRow, ...]:
    settings = audit.job.settings
    rows = []
    for one in found.tank.dry if found.tank else ():
        since = f"perhaps dry from {local_time(one.start_s, settings.timezone)} on, load {one.load}"
        words = (small_area(one.in_target_m2, settings.report.units), since, "more applied than the tank held")
        rows.append(_row(one.id, "dry", words, one.point, plane))
    return tuple(rows)


def _standing(audit: Audit, found: RateResult, plane: Plane) -> tuple[RatePlaceRow, ...]:
    settings = audit.job.settings
    rows = []
    for one in found.standing:
        when = f"{duration(one.seconds)} at {local_time(one.start_s, settings.timezone)}"
        words = (volume(one.volume_l, settings.report.units), when, "the sprayer stood with the boom on")
        rows.append(_row(one.id, "standing", words, one.line.centroid, plane))
    return tuple(rows)


# --- tank, nozzles, products ------------------------------------------------------------------------

_Table = tuple[str, tuple[str, ...], tuple[tuple[str, ...], ...]]  # caption, headings, rows


def _loads(audit: Audit, found: RateResult) -> _Table:
    settings, tank = audit.job.settings, found.tank
    units, zone = settings.report.units, settings.timezone
    rows = tuple(
        (
            str(rank),
            f"{local_time(load.start_s, zone)} to {local_time(load.end_s, zone)}",
            volume(load.volume_l, units),
            volume(load.used_l, units),
            volume(load.left_l, units),
            area(load.swept_m2, units),
            local_time(load.dry_s, zone) if load.dry_s is not None else "no",
        )
        for rank, load in enumerate(tank.loads if tank else (), 1)
    )
    caption = f"Tank loads; refills {REFILLS[tank.refills]}" if tank and len(tank.loads) > 1 else "Tank loads"
    heads = ("Load", "From, to", "In the tank", "Applied", "Left", "Ground (every pass)", "Perhaps dry from")
    return caption, heads, rows


def _catch(found: RateResult, units: str) -> _Table:
    catch = found.catch
    if catch is None:
        return "", (), ()
    rated = catch.rating_l_min
    rows = [
        ("Nozzles caught", str(len(catch.flows_l_min))),
        ("Average", _flow(catch.mean_l_min, units)),
        ("Spread, most less least", f"{number(100 * catch.spread, 1)}{SPACE}% of the average"),
        ("Maker's rating at this pressure", NOT_KNOWN if rated is None else _flow(rated, units)),
        (f"More than 10{SPACE}% off the rating", NOT_KNOWN if rated is None else _nozzles(catch.off_rating)),
        (f"More than 5{SPACE}% off the average", _nozzles(catch.off_average)),
        (f"Another published rule, more than 10{SPACE}% off the average", _nozzles(catch.far_off_average)),
    ]
    return "Nozzle catch, numbered from the left", ("Figure", "Value"), tuple(rows)


def _flow(l_min: float, units: str) -> str:
    """Flow of a nozzle, with the digits that a catch has."""
    return f"{number(l_min / US_FLUID_OUNCE_L, 1)}{SPACE}oz/min" if units == "us" else f"{number(l_min, 3)}{SPACE}L/min"


def _nozzles(numbers: tuple[int, ...]) -> str:
    return f"{'nozzle' if len(numbers) == 1 else 'nozzles'} {', '.join(map(str, numbers))}" if numbers else "none"


def _product(use: ProductUse, units: str) -> _Table:
    settings, typed = use.settings, use.settings.rate
    name = settings.name + (f" (reg. no. {settings.reg_no})" if settings.reg_no else "")
    rows = []
    if typed is not None:
        rows = [
            ("Rate", _amount(typed.value, typed)),
            ("Used", _total(use.used, typed)),
            ("Meant for the target area", _total(use.intended, typed)),
            ("In the mix left over", _total(use.left, typed)),
            ("In each load", ", ".join(_total(amount, typed) for amount in use.per_load)),
        ]
        if typed.per == "ha":
            rows += [
                ("On covered ground, on average", _amount(use.mean_per_ha, typed)),
                ("Most on any spot", _amount(use.most_per_ha, typed)),
            ]
    for words, limit in (
        ("Label: most per application", settings.max_per_application),
        ("Label: most per season", settings.max_per_season),
    ):
        rows.append((words, "" if limit is None else _amount(limit.value, limit)))
    if use.above_max_m2 is not None:
        rows.append(("Ground above the most per application", small_area(use.above_max_m2, units)))
    for words, days in (
        ("PHI", settings.phi_days),
        ("Grazing interval", settings.grazing_days),
        ("REI", settings.rei_days),
    ):
        rows.append((words, "" if days is None else _days(days)))
    shown = tuple((words, value) for words, value in rows if value not in {"", NOT_KNOWN})
    return f"Product: {name}", ("Figure", "Value"), shown


def _amount(value: float | None, typed: Amount) -> str:
    return NOT_KNOWN if value is None else f"{number(value / typed.size, 2)}{SPACE}{typed.unit}"


def _total(value: float | None, typed: Amount) -> str:
    """Amount of product alone, in the unit before the slash of what was typed."""
    if value is None:
        return NOT_KNOWN
    unit = typed.unit.split("/")[0]
    return f"{number(value / UNIT_SIZE[unit], 2)}{SPACE}{unit}"


def _days(days: float) -> str:
    return f"{number(days * 24)}{SPACE}h" if days < 2 else count(round(days), "day")


def _body(sheet: Sheet) -> Markup | str:
    found = rate_section(sheet.audit, sheet.plane)
    return filled("rate.html", rate=found, rows_shown=ROWS_SHOWN) if found else NOTHING


FIGURE = Figure("rate", "The rate on the ground", _body)
