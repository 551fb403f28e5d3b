"""A cut day as facts, as files of its new jobs, and in words."""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, Any

from coverage_audit.days.model import BOOM_OFF, NO_PASSES

from .farm_files import field_geojson, file_name, toml_text
from .words.display import area, count, utc_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from collections.abc import Set as AbstractSet

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.days.model import Cut, DayLog, FoundJob
    from coverage_audit.drive.plane import Plane
    from coverage_audit.jobs.fields import KeptField
    from coverage_audit.jobs.kept_jobs import KeptJob
    from coverage_audit.read.records import Interval

DRAFTS = "drafts"
WHY = {BOOM_OFF: "the boom was off", NO_PASSES: "nothing looks like passes"}
STATES = {
    "log": "as logged by the switch",
    "segments": "each segment of the track",
    "marks": "as marked while driving",
    "csv": "in boom.csv, from the logs",
    "assume": "assumed: no log says",
}


# --- facts ------------------------------------------------------------------------------------------


def day_facts(
    cut: Cut,
    logs: Sequence[DayLog],
    fields: Sequence[KeptField],
    kept: Sequence[KeptJob],
    drafts: Mapping[str, BaseGeometry],
    plane: Plane,
    zone: dt.tzinfo,
) -> dict[str, Any]:
    """What ``day --json`` prints: plain values, SI units, UTC.

    ``made`` is false for a job whose folder is there already, and for ground whose draft is: they are left as they
    are.

    Parameters
    ----------
    kept, drafts
        The jobs, and the draft outlines by the names of their files, that are there. [m]
    """
    return {
        "jobs": _jobs(cut, fields, kept, zone),
        "unknown": _unknown(cut, drafts, plane, zone),
        "not_jobs": [
            {
                "field": fields[one.field].name,
                "start": utc_text(one.start_s),
                "end": utc_text(one.end_s),
                "why": WHY[one.why],
                "machine": one.machine,
            }
            for one in cut.not_jobs
        ],
        "logs": _logs(cut, logs, fields),
    }


def _jobs(cut: Cut, fields: Sequence[KeptField], kept: Sequence[KeptJob], zone: dt.tzinfo) -> list[dict[str, Any]]:
    taken = [job.folder.removeprefix("jobs/") for job in kept]
    jobs = []
    for job in cut.jobs:
        field = fields[job.field]
        day = dt.datetime.fromtimestamp(job.start_s, zone).date()
        plain = f"jobs/{file_name(f'{day} {field.name}', ())}"
        there = next(
            (
                one
                for one in kept
                if one.holds(frozenset(job.files), field.file, job.start_s, job.end_s)
                or (one.fault and one.folder == plain)  # whatever it was, it is not made anew beside it
            ),
            None,
        )
        if there is None:
            taken.append(file_name(f"{day} {field.name}", taken))
        jobs.append(
            {
                "job": there.folder if there else f"jobs/{taken[-1]}",
                "made": there is None,
                "field": field.name,
                "start": utc_text(job.start_s),
                "end": utc_text(job.end_s),
                "machine": job.machine,
                "logs": list(job.files),
                "intervals": "boom.csv" if job.on is not None else job.state,
                "over_edge": [{"field": fields[k].name, "area_m2": m2} for k, m2 in job.over_edge],
            }
        )
    for one, facts in zip(cut.jobs, jobs, strict=True):
        found = [other["job"] for two, other in zip(cut.jobs, jobs, strict=True) if _beside(one, two, zone)]
        earlier = [other.folder for other in kept if _beside_kept(one, fields[one.field].file, other, zone)]
        facts["beside"] = list(dict.fromkeys([*found, *earlier]))
    return jobs


def _beside(one: FoundJob, other: FoundJob, zone: dt.tzinfo) -> bool:
    """Whether two machines sprayed one field on the same day: two jobs of one treatment."""
    days = {dt.datetime.fromtimestamp(job.start_s, zone).date() for job in (one, other)}
    return one.machine != other.machine and one.field == other.field and len(days) == 1


def _beside_kept(one: FoundJob, field_file: str, other: KeptJob, zone: dt.tzinfo) -> bool:
    """The same of a job that was cut before."""
    if other.from_s is None or other.machine in ("", one.machine) or other.boundary != field_file:
        return False
    days = {dt.datetime.fromtimestamp(time_s, zone).date() for time_s in (one.start_s, other.from_s)}
    return len(days) == 1


def _unknown(cut: Cut, drafts: Mapping[str, BaseGeometry], plane: Plane, zone: dt.tzinfo) -> list[dict[str, Any]]:
    found = []
    taken = [name.removeprefix(f"{DRAFTS}/") for name in drafts]
    for ground in cut.unknown:
        inside = ground.outline.representative_point()
        lon, lat = plane.to_degrees(inside.x, inside.y)
        there = next((name for name, shape in drafts.items() if _same_ground(shape, ground.outline)), None)
        if there is None:
            day = dt.datetime.fromtimestamp(ground.start_s, zone).date()
            taken.append(file_name(f"{day} unknown", taken, ".geojson"))
        found.append(
            {
                "area_m2": float(ground.outline.area),
                "lat": float(lat),
                "lon": float(lon),
                "start": utc_text(ground.start_s),
                "end": utc_text(ground.end_s),
                "machine": ground.machine,
                "logs": list(ground.files),
                "draft": there or f"{DRAFTS}/{taken[-1]}",
                "made": there is None,
            }
        )
    return found


def _same_ground(one: BaseGeometry, other: BaseGeometry) -> bool:
    """Whether two outlines share more than half of the larger one."""
    return bool(one.intersection(other).area > max(one.area, other.area) / 2)


def _logs(cut: Cut, logs: Sequence[DayLog], fields: Sequence[KeptField]) -> list[dict[str, Any]]:
    """For each log its machine, the fields it reached, and how many of its fixes a better log stood in for."""
    replaced = {file: count for drive in cut.drives for file, count in zip(drive.files, drive.replaced, strict=True)}
    reached: dict[str, list[str]] = {one.file: [] for one in logs}
    visits = [(job.field, job.files) for job in cut.jobs]
    visits += [(one.field, tuple(log.file for log in logs if log.machine == one.machine)) for one in cut.not_jobs]
    for field, files in visits:
        for file in files:
            reached[file] = list(dict.fromkeys([*reached[file], fields[field].name]))
    return [
        {"log": one.file, "machine": one.machine, "fields": reached[one.file], "replaced_fixes": replaced[one.file]}
        for one in logs
    ]


# --- files ------------------------------------------------------------------------------------------


def new_files(
    facts: dict[str, Any], cut: Cut, fields: Sequence[KeptField], plane: Plane, zone: dt.tzinfo
) -> dict[str, str]:
    """File name, from the farm's folder, to content of every new job and draft outline."""
    found: dict[str, str] = {}
    for job, told in zip(cut.jobs, facts["jobs"], strict=True):
        if told["made"]:
            found[f"{told['job']}/job.toml"] = job_toml(job, told, fields[job.field], zone)
            if job.on is not None:
                found[f"{told['job']}/boom.csv"] = boom_csv(job.on)
    for ground, told in zip(cut.unknown, facts["unknown"], strict=True):
        if told["made"]:
            name = told["draft"].rpartition("/")[2].removesuffix(".geojson")
            found[told["draft"]] = field_geojson(name, plane.geometry_to_degrees(ground.outline), (), derived=True)
    return found


def job_toml(job: FoundJob, told: dict[str, Any], field: KeptField, zone: dt.tzinfo) -> str:
    """The job file of a found job."""
    day = dt.datetime.fromtimestamp(job.start_s, zone).date()
    lines = [
        "# Cut from the day's log. Correct what is not right: a job that is there is never written again.",
        "[job]",
        f"name = {toml_text(f'{field.name}, {day}')}",
        'farm = "../../farm.toml"',
        f"machine = {toml_text(job.machine)}",
        *([f"together = [{_others(told)}]"] if told["beside"] else []),
        *([f"notes = {toml_text(notes)}"] if (notes := _notes(told)) else []),
        "",
        "[field]",
        f"boundary = {toml_text(f'../../{field.file}')}",
        "",
        "[track]",
        f"files = [{', '.join(toml_text(f'../../{name}') for name in job.files)}]",
        f"from = {toml_text(local_text(math.floor(job.start_s * 1000) / 1000, zone))}",
        f"to = {toml_text(local_text(math.ceil(job.end_s * 1000) / 1000, zone))}",
        "",
        "[boom]",
        f"intervals = {toml_text(told['intervals'])}",
    ]
    return "\n".join(lines) + "\n"


def _others(told: dict[str, Any]) -> str:
    """Job files of the machines that did the rest of the field."""
    return ", ".join(toml_text(f"../{job.removeprefix('jobs/')}/job.toml") for job in told["beside"])


def _notes(told: dict[str, Any]) -> str:
    """What the job's own report could not know."""
    notes = [f"Sprayed on {one['field']} beyond the edge: {one['area_m2']:.0f} m2." for one in told["over_edge"]]
    if told["beside"]:
        notes.append("Another machine sprayed this field on the same day.")
    return " ".join(notes)


def local_text(time_s: float, zone: dt.tzinfo) -> str:
    """Local time with its date, to the millisecond; with its offset where the clock tells that hour twice."""
    moment = dt.datetime.fromtimestamp(round(time_s, 3), zone)
    plain = moment.replace(tzinfo=None, fold=0)
    precise = "milliseconds" if plain.microsecond else "seconds"
    twice = plain.replace(tzinfo=zone).timestamp() != moment.timestamp()
    return moment.isoformat("T", precise) if twice else plain.isoformat("T", precise)


def boom_csv(on: Sequence[Interval]) -> str:
    """On-times as a boom file: UTC, to the millisecond."""
    rows = [f"{_utc(one.on_s)},{_utc(one.off_s)},{'+'.join(str(k) for k in one.sections)},{one.how}" for one in on]
    return "\n".join(["on,off,sections,how", *rows]) + "\n"


def _utc(time_s: float) -> str:
    return f"{dt.datetime.fromtimestamp(round(time_s, 3), dt.UTC).isoformat(timespec='milliseconds')[:-6]}Z"


# --- words ------------------------------------------------------------------------------------------


def day_text(facts: dict[str, Any], units: str, zone: dt.tzinfo, *, dry: bool) -> str:
    """What was found, in words; times are local."""
    lines = [f"{count(len(facts['jobs']), 'job')} found." if facts["jobs"] else "No new job found."]
    new = {job["job"] for job in facts["jobs"] if job["made"]}
    lines += [line for job in facts["jobs"] for line in _job_lines(job, units, _when(job, zone), new, dry=dry)]
    for one in facts["not_jobs"]:
        lines.append(f"{one['field']}, {_when(one, zone)}, {one['machine']}: no job, {one['why']}.")
    for one in facts["unknown"]:
        drawn = "would be drawn" if dry and one["made"] else "is drawn"
        lines.append(
            f"Sprayed outside every kept field: {area(one['area_m2'], units)} about {one['lat']:.5f}, {one['lon']:.5f},"
            f" {_when(one, zone)}, {one['machine']}. Its driven edge {drawn} in {one['draft']}: correct"
            " it, keep it with field add, and cut the day again."
        )
    seen = {name for one in (*facts["jobs"], *facts["unknown"]) for name in one["logs"]}
    for one in facts["logs"]:
        if one["log"] not in seen and not one["fields"] and not one["replaced_fixes"]:
            lines.append(f"{one['log']}: it fits no field, and nothing in it looks like spraying.")
        if one["replaced_fixes"]:
            lines.append(
                f"{one['log']}: {one['replaced_fixes']} fixes left out, another log of {one['machine']} has their time."
            )
    lines += [f"{one['log']} was not read: {one['why']}" for one in facts["not_read"]]
    lines += [f"{one['job']}: its log {one['log']} is not there; put it back." for one in facts["jobs_without_log"]]
    lines += [f"{one['job']}: its job file cannot be read: {one['why']}" for one in facts["jobs_not_read"]]
    return "\n".join(lines)


def _when(one: dict[str, Any], zone: dt.tzinfo) -> str:
    """Local times of a visit: "2026-06-01 06:01 to 06:09"."""
    start, end = (dt.datetime.fromisoformat(one[key]).astimezone(zone) for key in ("start", "end"))
    return f"{start:%Y-%m-%d %H:%M} to {end:{'%H:%M' if start.date() == end.date() else '%Y-%m-%d %H:%M'}}"


def _job_lines(job: dict[str, Any], units: str, when: str, new: AbstractSet[str], *, dry: bool) -> list[str]:
    word = ("would be made" if dry else "made") if job["made"] else "there already, left as it is"
    state = STATES["csv" if job["intervals"] == "boom.csv" else job["intervals"]]
    lines = [f"{job['field']}, {when}, {job['machine']}: {job['job']} ({word}; boom {state})."]
    lines += [
        f"  {area(one['area_m2'], units)} of it fell over the edge on {one['field']}." for one in job["over_edge"]
    ]
    if job["beside"]:
        others = ", ".join(job["beside"])
        lines.append(f"  Another machine sprayed it that day ({others}): what one left for the other is no skip.")
        for one in job["beside"]:
            if job["made"] and one not in new:
                lines.append(
                    f"  {one} was there before: if its job.toml does not say so yet, write "
                    f'together = ["../{job["job"].removeprefix("jobs/")}/job.toml"] under [job] in it.'
                )
    return lines
