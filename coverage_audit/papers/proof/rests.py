"""What a proof rests on: every setting that moves its figures, as codes with quantities in the seller's units.

The words stand in :data:`RESTS` alone, as data, so that the command, the papers and the checker page say the same.
"""

from __future__ import annotations

import datetime as dt
import re
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import shapely

from coverage_audit.jobs.job import boom_state
from coverage_audit.papers.words.display import duration, length
from coverage_audit.read.records import MARKED
from coverage_audit.units import ACRE_M2, FOOT_M, HECTARE_M2

if TYPE_CHECKING:
    from coverage_audit.accuracy.model import Accuracy
    from coverage_audit.recipe.result import Audit

    Rest = dict[str, str]

TYPED, MEASURED, DERIVED, LOG = "typed by the seller", "measured", "derived", "from the log"


class Line(NamedTuple):
    """One line of a paper: its name, where it comes from, and for each code the sentence with its quantities."""

    name: str
    origin: str
    cases: dict[str, str]


RESTS = {
    "field": Line(
        "Whole field, and ground left out",
        TYPED,
        {
            "all": "The outline encloses {whole}; all of it was to be sprayed.",
            "part": "The outline encloses {whole}; {left} ({share} %) of it are left out of every share here.",
        },
    ),
    "no_spray": Line(
        "No-spray areas",
        TYPED,
        {
            "none": "There is none.",
            "some": "Areas: {count}. Together {area}; sprayed there: {sprayed}, not sprayed: {missed}.",
        },
    ),
    "setback": Line(
        "Strip left out along the edge",
        TYPED,
        {"none": "There is none.", "some": "{wide} wide; sprayed there: {sprayed}, not sprayed: {missed}."},
    ),
    "around": Line(
        "Strip left out around no-spray areas",
        TYPED,
        {"none": "There is none.", "some": "{wide} wide, counted with them above."},
    ),
    "grown": Line("Outline moved outwards", TYPED, {"none": "No.", "some": "By {wide}."}),
    "outlines": Line(
        "Other outlines in the seller's file",
        TYPED,
        {"none": "There is none.", "some": "{count}, which this does not speak of."},
    ),
    "width": Line(
        "Boom width",
        TYPED,
        {
            "few": "{typed}; too few passes lie side by side to check it.",
            "checked": "{typed}; passes side by side lie {spacing} apart in the middle of {count} spacings.",
        },
    ),
    "antenna": Line(
        "Where the antenna is",
        TYPED,
        {
            "unknown": "Not stated; taken to be above the boom.",
            "stated": "{ahead} ahead of the boom, {aside} to its right.",
        },
    ),
    "towed": Line(
        "Boom drawn behind a hitch",
        TYPED,
        {"none": "No.", "some": "{towed} behind it; its wheels {wheels} behind it."},
    ),
    "axle": Line("Axle behind the antenna", TYPED, {"none": "Not stated.", "some": "{behind}."}),
    "boom": Line(
        "How it is known when the boom was on",
        "as named here",
        {
            "log": "A switch that the log itself recorded.",
            "marks": "Marks in the log that a person set while driving.",
            "segments": "Where the log was paused; that this was the boom's switch is the seller's word.",
            "csv": "A list of times handed in by the seller; that they were logged is the seller's word.",
            "csv marked": "A list of times handed in by the seller; that they were marked is the seller's word.",
        },
    ),
    "inverted": Line("Switch read the other way round", TYPED, {"none": "No.", "some": "Yes."}),
    "delays": Line(
        "Delay of the switch", TYPED, {"none": "There is none.", "some": "On {on} s later, off {off} s later."}
    ),
    "receiver": Line(
        "Receiver",
        LOG,
        {
            "unknown": "The log does not say how good its positions are; the worst are assumed.",
            "autonomous": "Positions without corrections.",
            "differential": "Positions with corrections by radio or satellite.",
            "RTK float": "Positions by carrier phase, not fixed.",
            "RTK fixed": "Positions by carrier phase, fixed.",
        },
    ),
    "claims": Line(
        "What the seller says of receiver and steering",
        TYPED,
        {"none": "Nothing.", "some": "Something; the proven share takes nothing from it."},
    ),
    "gaps": Line(
        "Gaps in the log",
        MEASURED,
        {
            "none": "There is none; the seller lets the log be silent for {limit} s.",
            "some": (
                "In {time} of them nothing is counted; {share} % of the ground rests on others, which were bridged, "
                "and is not counted as proven. The seller lets the log be silent for {limit} s."
            ),
        },
    ),
    "part": Line(
        "Part of the log", TYPED, {"none": "All of its time.", "some": "Only a part of its time, chosen by the seller."}
    ),
    "clock": Line(
        "Clock of the log", TYPED, {"none": "As it is.", "some": "{offset} s were added to its times by the seller."}
    ),
    "date": Line(
        "How the date is known",
        "as named here",
        {
            "log": "From the log; the seller's days begin {zone} h from UTC.",
            "typed": "Typed by the seller, whose days begin {zone} h from UTC.",
        },
    ),
    "rate": Line(
        "What the rate rests on",
        "as named here",
        {
            "none": "No rate is told.",
            "logged flow": "A flow that the log recorded.",
            "logged pressure": "A pressure that the log recorded, and nozzles typed by the seller.",
            "nozzles": "Nozzles and a pressure typed by the seller.",
            "flow": "A flow typed by the seller.",
            "applied": "A volume typed by the seller.",
        },
    ),
    "tank": Line(
        "Whether the tank ran dry",
        TYPED,
        {
            "none": "Cannot be told: nothing is said of its loads.",
            "some": "Loads typed by the seller were held against what was sprayed.",
        },
    ),
    "second": Line("Second count, by another method", MEASURED, {"differs": "Differs by {share} % of the field."}),
}
"""By key: the lines about what a proof rests on, in reading order."""

MADE = Line(
    "When this was made",
    TYPED,
    {
        "own": "{made}, by the seller's own clock: the seller's word.",
        "stamped": (
            "{made}, by the seller's own clock. A time-stamp service says that it was there at {stamp}; proof check "
            "shows whether that holds, with the certificates of the service."
        ),
    },
)
"""How the time of a proof is known."""

SAYS = {
    "ranged": (
        "Of the {target} of this field that were to be sprayed the boom passed over {passed} ({logged} %), switched "
        "on, on {date}, as logged; at least {proven} % counting GPS error."
    ),
    "logged": (
        "Of the {target} of this field that were to be sprayed the boom passed over {passed} ({logged} %), switched "
        "on, on {date}, as logged. How much of that GPS error may take away cannot be told."
    ),
}
"""The one sentence of a proof, by whether the range of GPS error could be told."""

ELSEWHERE = {"proven", "logged", "date", "made", "stamp"}
"""What these sentences take from elsewhere in the record."""

QUANTITY = re.compile(r"-?[0-9][0-9.,]{0,14}(?:\u00a0[a-z]{1,3}|[a-z0-9 \u00a0]{0,12})|less than 0\.1\u00a0(?:ha|ac)")
"""The form of a quantity within a line."""

SPACE = "\u00a0"

LAND_WORDS = {"ac": "acres", "ha": "hectares"}
"""Units of land as the one sentence has them."""


def placed(sentence: str, values: Rest) -> str:
    """*sentence* with its quantities."""
    return re.sub(r"\{(\w+)\}", lambda found: values[found[1]], sentence)


def land(m2: float, units: str) -> str:
    """Area to a tenth of a hectare or an acre, so that it tells nobody which field this is. [m2]"""
    size, name = (ACRE_M2, "ac") if units == "us" else (HECTARE_M2, "ha")
    text = f"{m2 / size:.1f}"
    if float(text) == 0.0:
        return f"less than 0.1{SPACE}{name}" if m2 > 0 else f"0{SPACE}{name}"
    return f"{text}{SPACE}{name}"


def land_words(quantity: str) -> str:
    """*quantity* with its unit of land as a word."""
    number, space, unit = quantity.rpartition(SPACE)
    return number + space + LAND_WORDS.get(unit, unit)


def finely(metres: float, units: str) -> str:
    """A width, so fine that a tenth of a boom shows. [m]"""
    return f"{metres / FOOT_M:.1f}{SPACE}ft" if units == "us" else f"{metres:.2f}{SPACE}m"


def rests_of(audit: Audit, seen: Accuracy | None) -> dict[str, Rest]:
    """Every line of :data:`RESTS` for one audit; *seen* is what the log alone says of its accuracy."""
    settings, units = audit.job.settings, audit.job.settings.report.units
    track, boom = settings.track, settings.boom
    some = {True: "some", False: "none"}
    stated = settings.accuracy is not None and settings.accuracy.asked
    return {
        **_ground(audit, units),
        "around": _wide(settings.field.exclude_setback_m, units),
        "grown": _wide(settings.field.grow_m, units),
        "outlines": _counted(len(audit.job.boundary) - len(audit.sprayed_fields)),
        "width": _width(audit, units),
        "antenna": {"is": "unknown"}
        if boom.antenna_ahead_m is None
        else {
            "is": "stated",
            "ahead": length(boom.antenna_ahead_m, units),
            "aside": length(boom.antenna_right_m, units),
        },
        "towed": {"is": "some", "towed": length(boom.towed_m, units), "wheels": length(boom.towed_axle_m, units)}
        if boom.towed_m
        else {"is": "none"},
        "axle": {"is": "none"}
        if boom.axle_behind_antenna_m is None
        else {"is": "some", "behind": length(boom.axle_behind_antenna_m, units)},
        "boom": {"is": _boom_source(audit)},
        "inverted": {"is": some[boom.invert_switch]},
        "delays": {"is": "some", "on": f"{boom.on_delay_s:.1f}", "off": f"{boom.off_delay_s:.1f}"}
        if boom.on_delay_s or boom.off_delay_s
        else {"is": "none"},
        "receiver": {"is": seen.error.fix_class if seen and seen.error.stated else "unknown"},
        "claims": {"is": some[stated]},
        "gaps": _gaps(audit),
        "part": {"is": some[track.from_s is not None or track.to_s is not None]},
        "clock": {"is": "some", "offset": f"{track.clock_offset_s:.0f}"} if track.clock_offset_s else {"is": "none"},
        "date": {"is": "typed" if settings.date_given else "log", "zone": f"{zone_h(audit):.2f}"},
        "rate": {"is": (audit.rate.source if audit.rate else None) or "none"},
        "tank": {"is": some[settings.rate.tank is not None and bool(settings.rate.tank.loads_l)]},
        "second": {"is": "differs", "share": f"{100 * audit.checks.cross_check_rel:.3f}"},
    }


def zone_h(audit: Audit) -> float:
    """Hours that the seller's time zone is ahead of UTC on the day of the job."""
    moment = dt.datetime.fromtimestamp(audit.start_s, ZoneInfo(audit.job.settings.timezone))
    return (moment.utcoffset() or dt.timedelta()) / dt.timedelta(hours=1)


def _gaps(audit: Audit) -> Rest:
    limit = {"limit": f"{audit.job.settings.track.max_gap_s:.1f}"}
    if audit.time_gap_s <= 0 and audit.area_m2.bridged <= 0:
        return {"is": "none", **limit}
    share = f"{100 * audit.area_m2.bridged / audit.area_m2.target:.2f}"
    return {"is": "some", "time": duration(audit.time_gap_s), "share": share, **limit}


def _wide(metres: float, units: str) -> Rest:
    return {"is": "some", "wide": length(metres, units)} if metres else {"is": "none"}


def _counted(count: int) -> Rest:
    return {"is": "some", "count": str(count)} if count > 0 else {"is": "none"}


def _ground(audit: Audit, units: str) -> dict[str, Rest]:
    """The whole field, and each kind of ground left out: how much, and whether it was sprayed."""
    layers = audit.layers
    outer = shapely.union_all([shapely.Polygon(one.exterior) for one in shapely.get_parts(layers.field)])
    whole, left = outer.area, outer.area - layers.target.area
    edge = shapely.difference(shapely.difference(outer, layers.target), layers.excluded)
    count = len(shapely.get_parts(layers.excluded)) if layers.excluded.area > 0 else 0
    part = {"is": "part", "left": land(left, units), "share": f"{100 * left / whole:.1f}"}
    return {
        "field": {**(part if left > LEAST_LEFT_M2 else {"is": "all"}), "whole": land(whole, units)},
        "no_spray": {"is": "some", "count": str(count), "area": land(layers.excluded.area, units)}
        | _sprayed(layers.excluded, audit, units)
        if count
        else {"is": "none"},
        "setback": _wide(audit.job.settings.field.setback_m, units) | _sprayed(edge, audit, units)
        if audit.job.settings.field.setback_m
        else {"is": "none"},
    }


def _sprayed(ground: shapely.Geometry, audit: Audit, units: str) -> Rest:
    sprayed = float(shapely.intersection(ground, audit.layers.excluded_sprayed).area)
    return {"sprayed": land(sprayed, units), "missed": land(max(ground.area - sprayed, 0.0), units)}


LEAST_LEFT_M2 = 1.0
"""Less ground left out than this is rounding. [m2]"""


def spacings_m(audit: Audit) -> np.ndarray:
    """Mean distance of each pass from its neighbour, shape (n,). [m]"""
    return np.array([one.distance_m.mean() for one in audit.passes.spacings]) if audit.passes else np.zeros(0)


def _width(audit: Audit, units: str) -> Rest:
    found = spacings_m(audit)
    typed = {"typed": finely(audit.job.settings.boom.width_m, units)}
    if not len(found):
        return {"is": "few", **typed}
    return {"is": "checked", **typed, "count": str(len(found)), "spacing": finely(float(np.median(found)), units)}


def _boom_source(audit: Audit) -> str:
    source = audit.job.settings.boom.intervals
    return "csv marked" if source == "csv" and boom_state(audit.job) == MARKED else source
