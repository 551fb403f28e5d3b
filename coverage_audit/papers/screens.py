"""The page's screens: facts of a job sheet in, HTML out. Nothing in them is ours to run but what /asset holds."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import available_timezones

import numpy as np
from markupsafe import Markup, escape

from coverage_audit.read.outlines.areas import area_m2
from coverage_audit.sheet.boom import SOURCES, share_on, told_of, with_said
from coverage_audit.units import number_and_unit

from .templating import filled
from .words import display, screens
from .words.cautions import texts

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.sheet.facts import JobRow, SheetFacts, WorkFacts
    from coverage_audit.sheet.farm import Farm
    from coverage_audit.sheet.outline import OutlineFile

ON_SHARE = 0.5
"""A pass of which more was on than this is told as on. [1]"""

PICTURE = (72, 54)
"""Width and height of the picture of a job in the list. [px]"""

PAPERS = {
    "report/report.html": "The whole report, with the map",
    "plan/touchup_sheet.html": "The sheet for going back, to print and take along",
    "plan/report.html": "The report with the plan for going back",
    "plan/touchup.gpx": "The way of going back, for a phone (GPX)",
    "proof/proof.pdf": "The proof for a buyer, to print or send (PDF)",
    "proof/proof.html": "The same as a page",
    "proof/proof-buyer.json": "Its record, for the buyer's own check",
    "report/missed.gpx": "Missed places to walk to with a phone (GPX)",
    "report/findings.geojson": "Missed and double ground for a map program (GeoJSON)",
    "report/passes.geojson": "Passes for a map program (GeoJSON)",
    "report/summary.json": "Every figure (JSON)",
}
"""Papers that are one tap away, in this order."""

KEYS_WORDS = (
    "Your keys lie in the farm's folder, in keys. seller.private and seller.salts are yours alone: copy them to a safe "
    "place and give them to nobody. seller.public is for your buyers: hand it over in person."
)
"""What must be known of keys once they are made."""

CAUTION = (
    "Going back is a second application: read the label first, wear what it names, keep people and stock out until its "
    "re-entry interval is over, and do not spray in wind or in the still air of an inversion. Local codes and licensed "
    "applicators decide. No log shows a plugged nozzle, an empty tank, a boom too high, or drift."
)


# --- whole screens ----------------------------------------------------------------------------------


def home_html(farm: Farm, rows: Sequence[JobRow], binned: Sequence[str], folder: str, papers: Sequence[str]) -> str:
    """The list of all jobs; *papers* are those of the whole farm."""
    name = farm.name
    return filled(
        "page_home.html",
        title=f"{name or 'Coverage audit'}: jobs",
        heading=name or "Your jobs",
        farm="Coverage audit",
        back=False,
        script="home.js",
        jobs=[_row(row) for row in rows],
        bin=binned,
        papers=[(one, screens.farm_paper_words(one)) for one in papers],
        folder=folder,
        bin_folder=f"{folder}/bin",
    )


def farm_html(folder: str) -> str:
    """The first question: where the jobs are kept."""
    return filled(
        "page_farm.html",
        title="Coverage audit: before the first job",
        farm="Coverage audit",
        back=False,
        script="farm.js",
        folder=folder,
        zones=sorted(available_timezones()),
    )


def gone_html(farm: str, why: str) -> str:
    """A screen that says what is not there any more."""
    return filled(
        "page_gone.html", title="Coverage audit", farm=farm or "Coverage audit", back=True, script="home.js", why=why
    )


def sheet_html(facts: SheetFacts, work: WorkFacts, folder: str) -> str:
    """The sheet of one job."""
    name = title_of(facts)
    return filled(
        "page_sheet.html",
        title=f"{name}: coverage audit",
        heading=name,
        farm=facts.farm.name or "Coverage audit",
        back=True,
        script="sheet.js",
        job=facts.id,
        mark=facts.mark,
        parts=list(parts_html(facts, work).items()),
        folder=folder,
    )


def title_of(facts: SheetFacts) -> str:
    """Name of the job: its own, else its field's, else that it is new."""
    field = _field_name(facts.field, facts.field_file) if facts.field and not facts.draft.is_driven else ""
    return str(facts.draft.get("job.name", "")) or field or "New job"


def parts_html(facts: SheetFacts, work: WorkFacts) -> dict[str, Markup]:
    """Every part of the sheet, by its name."""
    return {
        "standing": _standing(facts, work),
        "logs": _logs(facts),
        "field": _field(facts),
        "machine": _machine(facts),
        "boom": _boom(facts),
        "tank": _tank(facts),
        "answer": answer_html(facts, work),
    }


def _standing(facts: SheetFacts, work: WorkFacts) -> Markup:
    """The first line of the sheet: the answer, or what it still waits for."""
    missing = screens.missing_words(facts)
    told = missing or (screens.answer_words(facts.answer) if facts.answer and not facts.is_old else "")
    if work.stage == "failed":
        told = ""  # it stands where the answer would
    return Markup('<a href="#h-answer">{}</a>').format(told or "To the answer")


# --- parts of the sheet -----------------------------------------------------------------------------


def _logs(facts: SheetFacts) -> Markup:
    crossed = [_field_name(facts.kept[name], name) for name in facts.crossed]
    told = screens.drive_words(facts.drive, facts.units, facts.timezone) if facts.drive else []
    if facts.drive and facts.kept:
        told.append(screens.crossed_words(crossed))
    return filled("page_part_logs.html", facts=facts, told=told, **_HELPERS)


def _field(facts: SheetFacts) -> Markup:
    kept = [
        {
            "file": name,
            "name": _field_name(one, name),
            "area": display.area(one.area_m2, facts.units),
            "proposed": name == facts.proposed_field,
        }
        for name, one in facts.kept.items()
        if name != facts.field_file
    ]
    kept.sort(key=lambda one: not one["proposed"])
    return filled(
        "page_part_field.html",
        facts=facts,
        kept=kept,
        field_name=_field_name(facts.field, facts.field_file) if facts.field else "",
        field_area=display.area(facts.field.area_m2, facts.units) if facts.field else "",
        field_notes=texts(facts.field.cautions, facts.units) if facts.field else (),
        off=[(one.name, display.area(area_m2(one.geometry), facts.units)) for one in facts.field.no_spray]
        if facts.field
        else (),
        own_off=facts.own_no_spray,
        picture=facts.has_picture,
        new_name="",
        **_HELPERS,
    )


def _field_name(field: OutlineFile, file: str) -> str:
    names = [area.name for area in field.areas if area.name]
    return ", ".join(names[:3]) or file


def _machine(facts: SheetFacts) -> Markup:
    machines = [
        (name, (one.get("boom") or {}).get("width", "") if isinstance(one.get("boom"), dict) else "")
        for name, one in facts.farm.machines.items()
    ]
    return filled(
        "page_part_machine.html",
        facts=facts,
        machines=machines,
        length_units=screens.LENGTH_UNITS[facts.units],
        steering=screens.STEERING_WORDS,
        **_HELPERS,
    )


def _boom(facts: SheetFacts) -> Markup:
    source = facts.draft.get("boom.intervals", "")
    own = facts.drive.sources if facts.drive else ()
    return filled(
        "page_part_boom.html",
        facts=facts,
        by_hand="" if source in SOURCES or not source else source,
        sources=[(one, screens.SOURCE_WORDS[one]) for one in SOURCES if one in own or one in ("assume", source)],
        source=source,
        said=screens.said_words(facts.said, facts.said_otherwise),
        doubts=_doubts(facts),
        passes=_passes(facts),
        opened=False,
        **_HELPERS,
    )


def _passes(facts: SheetFacts) -> list[dict[str, Any]]:
    """Rows of the list of passes."""
    if facts.boom is None:
        return []
    now = with_said(facts.boom.base, facts.said)
    rows = []
    for one in facts.boom.stretches:
        if not one.is_pass:
            continue
        on = share_on(now, one.start_s, one.end_s) > ON_SHARE
        inside = [(max(a, one.start_s), min(b, one.end_s)) for a, b in now if b > one.start_s and a < one.end_s]
        start, end = (inside[0][0], inside[-1][1]) if on and inside else (one.start_s, one.end_s)
        touching = [said for said in facts.said if said.from_s < one.end_s and said.to_s > one.start_s]
        assumed = "worked out" if facts.draft.get("boom.intervals") == "assume" else "logged"
        rows.append(
            {
                "name": f"Pass {one.number}",
                "on": on,
                "start": one.start_s,
                "end": one.end_s,
                "from": screens.clock(start, facts.timezone),
                "to": screens.clock(end, facts.timezone),
                "known": screens.remembered_words(touching, one, facts.timezone) if touching else assumed,
            }
        )
    return rows


def _doubts(facts: SheetFacts) -> list[dict[str, Any]]:
    """What only the person can tell, and what he has told of it."""
    rows = []
    for one in facts.boom.doubts if facts.boom else ():
        said = told_of(facts.said, one.start_s, one.end_s)
        unsure = any(abs(a - one.start_s) < 1 and abs(b - one.end_s) < 1 for a, b in facts.unsure)
        told = "unsure" if said is None and unsure else {None: "", True: "yes", False: "no"}[said]
        words = screens.doubt_words(one, facts.units, facts.timezone)
        rows.append({"start": one.start_s, "end": one.end_s, "words": words, "told": told})
    return rows


def _tank(facts: SheetFacts) -> Markup:
    named = {row.get("from") for row in facts.draft.values.get("product", ()) if isinstance(row, dict)}
    loads = facts.draft.get("rate.loads", ())
    rows = list(facts.products)
    return filled(
        "page_part_tank.html",
        facts=facts,
        kept_products=[(one, f"{row.get('name', one)}", one in named) for one, row in facts.farm.products.items()],
        products=[{"name": "", **row} for row in (*rows, *(({},) if not rows or rows[-1].get("name") else ()))],
        told=bool(facts.draft.values.get("rate") or rows),
        loads=screens.loads_words(loads if isinstance(loads, list) else ()),
        volume_units=screens.VOLUME_UNITS[facts.units],
        rate_units=screens.RATE_UNITS[facts.units],
        flow_units=screens.FLOW_UNITS[facts.units],
        dose_units=screens.DOSE_UNITS[facts.units],
        **_HELPERS,
    )


def answer_html(facts: SheetFacts, work: WorkFacts) -> Markup:
    """The part that tells the answer, or how far it is."""
    summary, units = facts.answer, facts.units
    missing = screens.missing_words(facts)
    told = screens.figures(summary, units) if summary else []
    if work.areas and (facts.is_old or not summary):
        told = screens.plain_figures(work.areas, units)
    return filled(
        "page_part_answer.html",
        facts=facts,
        work=work,
        working="" if work.stage in ("idle", "done") else screens.work_words(work),
        missing=missing,
        headline=screens.answer_words(summary) if summary else "",
        is_old=facts.is_old,
        figures=told,
        places=screens.place_words(summary, units) if summary else (),
        lines=screens.answer_lines(summary) if summary else (),
        papers=[(name, text) for name, text in PAPERS.items() if name in facts.papers],
        caution=CAUTION,
        money_units=screens.MONEY_UNITS[units],
        length_units=screens.LENGTH_UNITS[units],
        fallbacks=screens.fallbacks(units),
        proof=screens.proof_words(summary) if summary else "",
        keys=KEYS_WORDS if any(name.startswith("proof/") for name in facts.papers) else "",
        **_HELPERS,
    )


def _split(value: object) -> tuple[str, str]:
    """Number and unit of a quantity as it was typed; a text that is none stands as it is."""
    if isinstance(value, tuple):
        return value
    if not isinstance(value, str):
        return "", ""
    number, unit = number_and_unit(value)
    return (number, unit) if number else (value, "")


_HELPERS: Mapping[str, Any] = {"split": _split}


# --- the list of jobs -------------------------------------------------------------------------------


def _row(row: JobRow) -> dict[str, Any]:
    told = row.fault or screens.open_words(row.lacks)
    if not told:
        told = screens.answer_words(row.answer) if row.answer else "Ready to be worked out."
        told += " Changed since." if row.answer and row.is_old else ""
    return {
        "id": row.id,
        "name": row.name,
        "when": screens.when_words(row.answer),
        "told": told,
        "answered": row.answer is not None,
        "picture": _picture(row),
    }


def _picture(row: JobRow) -> Markup:
    """The drive and the field, as large as a thumb."""
    width, height = PICTURE
    lines = [np.array(line, float) for line in (*row.ways, *row.rings) if len(line) > 1]
    if not lines:
        return Markup('<svg class="thumb" viewBox="0 0 72 54" aria-hidden="true"></svg>')
    points = np.concatenate(lines)
    scale = (min(width, height) - 6) / (np.ptp(points, axis=0).max() or 1.0)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2

    def path(line: np.ndarray, *, closed: bool) -> str:
        xy = (line - middle) * [scale, -scale] + [width / 2, height / 2]
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in xy.tolist()) + ("Z" if closed else "")

    rings = "".join(path(np.array(ring, float), closed=True) for ring in row.rings if len(ring) > 2)
    ways = "".join(path(np.array(way, float), closed=False) for way in row.ways if len(way) > 1)
    return Markup(  # noqa: S704 - numbers of ours
        f'<svg class="thumb" viewBox="0 0 {width} {height}" aria-hidden="true">'
        f'<path class="thumb-field" d="{escape(rings)}"/><path class="thumb-way" d="{escape(ways)}"/></svg>'
    )
