"""The page's words: what logs show, what is open, what was found, as a grower says it."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from coverage_audit.recipe.answer import Span
from coverage_audit.touchup.tolerances import (
    LABOUR_DEFAULT_S,
    MIX_COST_DEFAULT_L,
    TURNING_RADIUS_DEFAULT_M,
    VALUE_DEFAULT_M2,
)
from coverage_audit.units import ACRE_M2, HECTARE_M2, LENGTH_M, US_GALLON_L, number_and_unit

from . import answer, display

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.sheet.boom import Said, Stretch
    from coverage_audit.sheet.doubts import Doubt
    from coverage_audit.sheet.facts import SheetFacts, WorkFacts
    from coverage_audit.sheet.logs import DriveFacts

PARTS = {
    "logs": "The logs",
    "field": "The field",
    "machine": "The machine",
    "boom": "On and off",
    "tank": "In the tank",
    "answer": "The answer",
}
"""Parts of the sheet in their order."""

OPEN_WORDS = {
    "logs": "a log",
    "field": "the field",
    "machine": "how wide the boom is",
    "boom": "when the boom was on",
}
RECEIVER_WORDS = {
    "fixed": "A receiver with RTK corrections",
    "corrected": "A receiver with some corrections",
    "plain": "A receiver without corrections, such as a phone",
    "unknown": "A phone, or a receiver that does not say how good it is",
}
SOURCE_WORDS = {
    "log": "As the switch in the log says",
    "marks": "As the marks in the log say",
    "segments": "On in every piece of the track, off between them",
    "assume": "Nothing was logged: work it out from the drive",
}
STEERING_WORDS = {
    "hand": "Steered by eye",
    "guided": "Steered by the receiver that made this log",
    "guided-other": "Steered by another receiver",
    "unknown": "I do not know",
}
MOST_LINES = 3
"""So many cautions stand under the answer; all of them in the report. [1]"""

MOST_PLACES = 20
"""So many places of a kind stand in the list beside the map; all of them in the report. [1]"""

LENGTH_UNITS = {"metric": ("m", "cm"), "us": ("ft", "in")}
RATE_UNITS = {"metric": ("L/ha",), "us": ("gal/ac",)}
FLOW_UNITS = {"metric": ("L/min",), "us": ("gal/min",)}
VOLUME_UNITS = {"metric": ("L",), "us": ("gal",)}
MONEY_UNITS = {
    "metric": {"area": ("/ha",), "time": ("/h",), "volume": ("/L",)},
    "us": {"area": ("/ac",), "time": ("/h",), "volume": ("/gal",)},
}
DOSE_UNITS = {"metric": ("L/ha", "mL/ha", "kg/ha", "g/ha"), "us": ("oz/ac", "pt/ac", "qt/ac", "lb/ac")}


def drive_words(drive: DriveFacts, units: str, timezone: str) -> list[str]:
    """When and how far was driven, and what such a log can and cannot show."""
    start = display.local_datetime(drive.start_s, timezone)
    often = "one place a second" if abs(drive.step_s - 1) < 0.05 else f"one place every {drive.step_s:.3g} s"
    if drive.step_s < 0.5:
        often = f"{1 / drive.step_s:.0f} places a second"
    span = f"{start} to {display.local_time(drive.end_s, timezone)}"
    return [
        f"{span}, {display.length(drive.length_m, units)} driven, {often}.",
        _gap_words(drive, units, timezone),
        _able_words(drive, units),
    ]


def _gap_words(drive: DriveFacts, units: str, timezone: str) -> str:
    if not drive.gaps:
        return "No gaps."
    longest = max(drive.gaps, key=lambda gap: gap[2])
    lost = sum(moved for _, _, moved in drive.gaps)
    return (
        f"{display.count(len(drive.gaps), 'gap')} in the log, {display.length(lost, units)} driven in them; the "
        f"longest way at {display.local_time(longest[0], timezone)}, {display.length(longest[2], units)}. What "
        "was sprayed there no log can tell."
    )


def _able_words(drive: DriveFacts, units: str) -> str:
    who, narrow = RECEIVER_WORDS[drive.receiver], display.length(drive.narrowest_m, units)
    boom = "It says when the boom was on." if drive.sources else "It does not say when the boom was on."
    return f"{who}: good for skips wider than about {narrow}. {boom}"


def crossed_words(names: Sequence[str]) -> str:
    """Which of the kept fields a drive crosses."""
    if not names:
        return "It crosses none of the fields you kept."
    return f"It crosses {display.count(len(names), 'field')} that you kept: {', '.join(names)}."


def doubt_words(doubt: Doubt, units: str, timezone: str) -> str:
    """What only the person can tell, as a question."""
    span = f"{clock(doubt.start_s, timezone)} to {clock(doubt.end_s, timezone)}"
    if doubt.kind == "pause":
        moved = display.length(doubt.moved_m, units)
        return f"The log paused, {span}; you were {moved} farther on after it. Were you spraying meanwhile?"
    return f"Pass {doubt.number}, {span}: the drive leaves it open. Were you spraying on it?"


def loads_words(loads: Sequence[str]) -> tuple[str, str]:
    """Loads as they are typed: "50 + 50 + 30", and their unit; loads of several units stand whole, without one."""
    pairs = [number_and_unit(one) for one in loads]
    if not pairs or len({unit for _, unit in pairs}) > 1:
        return " + ".join(loads), ""
    return " + ".join(number for number, _ in pairs), pairs[0][1]


def fallbacks(units: str) -> dict[str, str]:
    """What a plan takes where nothing is typed, in the first unit that the page offers."""
    us = units == "us"
    return {
        "value": f"{VALUE_DEFAULT_M2 * (ACRE_M2 if us else HECTARE_M2):.0f}",
        "labour": f"{LABOUR_DEFAULT_S * 3600:.0f}",
        "mix_cost": f"{MIX_COST_DEFAULT_L * (US_GALLON_L if us else 1):.2f}",
        "turning_radius": f"{TURNING_RADIUS_DEFAULT_M / (LENGTH_M['ft'] if us else 1):.3g}",
    }


def open_words(lacks: Sequence[str]) -> str:
    """What a job still needs, in one line; "" when it needs nothing."""
    needed = [OPEN_WORDS[part] for part in lacks]
    if not needed:
        return ""
    listed = needed[0] if len(needed) == 1 else f"{', '.join(needed[:-1])} and {needed[-1]}"
    return f"Still needed: {listed}."


def answer_words(summary: Mapping[str, Any]) -> str:
    """The first line: go back or not, where, how sure."""
    decision = summary.get("decision")
    if isinstance(decision, dict) and decision.get("sentence"):
        return str(decision["sentence"])
    return "This answer is of an earlier version of the program; work it out again."


def answer_lines(summary: Mapping[str, Any]) -> list[str]:
    """What must be known beside the first line: the notice of an assumed boom state, and cautions, the first few."""
    notice = summary.get("assumed_notice")
    return [str(one) for one in (*([notice] if notice else []), *summary.get("cautions", ())[:MOST_LINES])]


def place_words(summary: Mapping[str, Any], units: str) -> list[str]:
    """Every place on the answer's map in words, missed ground first; where there are many, the largest."""
    told = []
    for key, kind in (("missed_strips", "missed"), ("double_patches", "sprayed twice")):
        for one in summary.get(key, ())[:MOST_PLACES]:
            length, width = (display.length(one[name], units) for name in ("length_m", "mean_width_m"))
            where = (one.get("cause") or {}).get("words") or one["where"]
            sure = f", {one['ground']}" if one.get("ground") else ""
            told.append(f"{one['id']}, {kind}{sure}: {where}; {length} long, {width} wide.")
    return told


def figures(summary: Mapping[str, Any], units: str) -> list[tuple[str, str, str]]:
    """Three figures as the report tells them: what it is, the best value, and its range."""
    spans = summary.get("answer")
    if not isinstance(spans, dict):
        return []
    rows = (("missed", "surely_m2"), ("perhaps", "perhaps_m2"), ("double", "twice_m2"))
    told = [(answer.NAMES[kind], *answer.span_words(Span(**spans[key]), units)) for kind, key in rows]
    return [(name, best, f"{ranged}, nine chances in ten" if ranged else "") for name, best, ranged in told]


def plain_figures(areas: Mapping[str, float], units: str) -> list[tuple[str, str, str]]:
    """The same figures as counted, while how sure they are is still being worked out."""
    names = (("Covered", "covered"), ("Missed", "missed"), ("Sprayed twice", "double"))
    return [(name, display.area(areas[key], units), "as counted") for name, key in names if key in areas]


def work_words(work: WorkFacts) -> str:
    """What is being done, and how far it is."""
    if work.stage == "waiting":
        return "Waiting for its turn."
    if work.stage == "stopped":
        return "Stopped. Nothing you entered is lost."
    if work.stage == "failed":
        return f"This does not work yet: {work.fault}"
    doing = {"plain": "Counting the ground", "sure": "Working out how sure"}[work.stage]
    return f"{doing}: {work.what}, {100 * work.part:.0f} %." if work.what else f"{doing}."


def said_words(said: Sequence[Said], others: int) -> str:
    """How much is remembered."""
    if not said and not others:
        return "Nothing is remembered yet."
    told = display.count(len(said) + others, "stretch", "stretches")
    return f"{told} as you remember it: marked as remembered in every paper."


def remembered_words(said: Sequence[Said], one: Stretch, timezone: str) -> str:
    """What is remembered of one pass; a part of it that was off is told by its times."""
    parts = [each for each in said if not each.on and (each.from_s > one.start_s + 1 or each.to_s < one.end_s - 1)]
    spans = [
        f"{clock(max(each.from_s, one.start_s), timezone)} to {clock(min(each.to_s, one.end_s), timezone)}"
        for each in parts
    ]
    return f"remembered, off {', '.join(spans)}" if spans else "remembered"


def proof_words(summary: Mapping[str, Any]) -> str:
    """Why no proof can be made of an answer; "" when one can be tried."""
    if summary.get("boom_state") in ("logged", "marked"):
        return ""
    return "No proof can be made of this job: it takes a log that says when the boom was on, not a guess or a memory."


def farm_paper_words(name: str) -> str:
    """What a paper of the whole farm is."""
    folder, _, file = name.partition("/")
    if folder == "compared":
        return "Jobs side by side, as last compared"
    kind = "as a table" if file.endswith(".csv") else "every field over the season"
    return f"Ledger of {folder.rpartition('-')[2]}, {kind}"


def clock(time_s: float, timezone: str) -> str:
    """Time of day to the second: "07:42:10"."""
    return f"{dt.datetime.fromtimestamp(round(time_s), ZoneInfo(timezone)):%H:%M:%S}"


def missing_words(facts: SheetFacts) -> str:
    """Why there is no answer yet."""
    return open_words(facts.draft.lacks)


def when_words(summary: Mapping[str, Any] | None) -> str:
    """Local date of the job, from its summary; "" without one."""
    if not summary:
        return ""
    job = summary.get("job", {})
    try:
        start = dt.datetime.fromisoformat(str(job["start"])).timestamp()
        return display.local_date(start, str(job.get("timezone", "UTC")))
    except (KeyError, ValueError):
        return ""
