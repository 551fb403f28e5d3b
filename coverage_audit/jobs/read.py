"""The job file (TOML), or the few options that replace it, to a :class:`Job`."""

from __future__ import annotations

from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read.boom_times import read_boom
from coverage_audit.read.outlines.registry import FieldFile, field_of
from coverage_audit.read.source import Folder
from coverage_audit.read.tracks.form import Asked
from coverage_audit.read.tracks.registry import logs_of

from .boom import INTERVAL_SOURCES, boom_settings, states_width, with_machine
from .cut import cut_logs, cut_span
from .farm import farm_of, with_farm
from .job import Job
from .keys import TABLES, job_file
from .laps import own_lap
from .places import Places
from .rate import product_settings, rate_settings
from .remembered import remembered_rows
from .settings import JobSettings
from .toml import toml_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from coverage_audit.read.records import Interval, NamedArea, TrackLog
    from coverage_audit.read.source import Source

    from .settings import BoomSettings, FarmUse, RateSettings

DRIVEN_EDGE = "driven"
"""Word in place of a file with the field's outline: its edge is told from the drive."""

OPTION_KEYS = {
    "--track": "track.files",
    "--field": "field.boundary",
    "--exclude": "field.exclude",
    "--boom": "boom.width",
    "--intervals": "boom.intervals",
    "--antenna-ahead": "boom.antenna_ahead",
    "--date": "job.date",
    "--timezone": "job.timezone",
    "--units": "report.units",
}
"""Command-line option to the job-file key it stands for."""

NO_JOB_FILE = (
    "this is not a job file; give a log with --track, a boundary with --field, or write a job file "
    "(see: coverage-audit manual)"
)


def read_job(
    path: str | Path, progress: Callable[[str, float], None] | None = None, *, intervals: str | None = None
) -> Job:
    """Read a job file and every file it names.

    Parameters
    ----------
    path : str or Path
        The TOML file; relative paths in it start at its folder.
    progress : callable, optional
        Called with what is being read and the part of the reading that is done (0 to 1).
    intervals : str, optional
        Stands in for the file's boom.intervals.

    Raises
    ------
    InputError
        Anything in the job file or in a file it names that cannot be used.
    """
    path = Path(path)
    return read_job_from(Folder(path.parent), path.name, progress, intervals=intervals)


def read_job_from(
    source: Source,
    name: str = "job.toml",
    progress: Callable[[str, float], None] | None = None,
    *,
    intervals: str | None = None,
) -> Job:
    """Read a job file of a source (a folder, files in memory, a zip file) and every file of it that it names.

    Parameters
    ----------
    source : Source
        Where the files are.
    name : str
        The job file; names in it start where it lies.
    progress, intervals
        As for :func:`read_job`.

    Raises
    ------
    InputError
        Anything in the job file or in a file it names that cannot be used.
    """
    job, others = _alone(source, name, progress, intervals)
    return _with_others(job, source.folder_of(name), others, f"{source.base_name(name)}, job.together")


def _alone(
    source: Source, name: str, progress: Callable[[str, float], None] | None = None, intervals: str | None = None
) -> tuple[Job, Sequence[str]]:
    """A job without those of other machines, and the names of these."""
    values, sources, use = job_values(source, name, intervals)
    places = Places(f"{source.base_name(name)}, ", {} if use is None else use.places)
    job = _job(values, source.folder_of(name), places, sources, progress, use)
    return job, values.get("job", {}).get("together", ())


def _with_others(job: Job, source: Source, names: Sequence[str], place: str) -> Job:
    """*job* with those of other machines; one that cannot be read is told, and stops nobody but itself."""
    others, cautions = [], []
    for name in names:
        if source.read(existing(source, name, place)).sha256 == job.sources[0][1]:
            raise InputError("this is the job itself; name that of the other machine", place)
        try:
            others.append(_alone(source, name)[0])
        except InputError as error:
            cautions.append(Caution("other unread", job=name, why=str(error)))
    sources = dict.fromkeys((*job.sources, *(one for other in others for one in other.sources)))
    return replace(job, together=tuple(others), sources=tuple(sources), cautions=(*job.cautions, *cautions))


def job_values(
    source: Source, name: str, intervals: str | None = None
) -> tuple[dict[str, dict[str, Any]], tuple[tuple[str, str], ...], FarmUse | None]:
    """Checked values of a job file by table, the (file, sha256) they come from, and what its farm filled.

    No other file that it names is read.

    Raises
    ------
    InputError
        The job file or the farm's is wrong.
    """
    file = source.read(name)
    data = toml_of(file, NO_JOB_FILE)
    farm = farm_of(data, source.folder_of(name), file.name)
    use = None
    if farm is not None:
        data, use = with_farm(data, farm, file.name)
    if intervals is not None:
        data["boom"] = (boom if isinstance(boom := data.get("boom"), dict) else {}) | {"intervals": intervals}
    sources = [(one.name, one.sha256) for one in (file, *([] if farm is None else [farm.file]))]
    return job_file(data, file.name), tuple(sources), use


def job_from_options(
    track: Sequence[str],
    field: str,
    boom: str,
    intervals: str,
    *,
    exclude: Sequence[str] = (),
    antenna_ahead: str | None = None,
    date: str | None = None,
    timezone: str | None = None,
    units: str | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> Job:
    """Job without a job file; each argument stands for the key in ``OPTION_KEYS``.

    Parameters
    ----------
    track : sequence of str
        Logs.
    field, exclude : str, sequence of str
        Boundary file, and no-spray areas.
    boom, antenna_ahead : str
        Quantities such as "9 m".
    intervals : str
        A CSV file, or one of ``INTERVAL_SOURCES``.
    date, timezone, units : str, optional
        As in the job file.
    progress : callable, optional
        As in :func:`read_job`.

    Raises
    ------
    InputError
        As :func:`read_job`; the place is the option.
    """
    given = {
        "--track": list(track),
        "--field": field,
        "--exclude": list(exclude) or None,
        "--boom": boom,
        "--intervals": intervals,
        "--antenna-ahead": antenna_ahead,
        "--date": date,
        "--timezone": timezone,
        "--units": units,
    }
    values: dict[str, dict[str, Any]] = {}
    for option, value in given.items():
        if value is not None:
            table, key = OPTION_KEYS[option].split(".")
            values.setdefault(table, {})[key] = TABLES[table].keys[key](value, option)
    return _job(values, Folder(Path()), Places("", {key: option for option, key in OPTION_KEYS.items()}), (), progress)


def key_place(place: str, job_file: str | None) -> str:
    """Where the person finds a key that the computing found fault with.

    Parameters
    ----------
    place : str
        Place of an :class:`InputError`: a key such as "boom.intervals", a table, or a file.
    job_file : str or None
        Name of the job file; None when options stood in its place.
    """
    table, _, key = place.partition(".")
    if table not in TABLES or (key and key not in TABLES[table].keys):
        return place
    if job_file is not None:
        return f"{job_file}, {place}"
    return next((option for option, stands_for in OPTION_KEYS.items() if stands_for == place), place)


def _job(
    values: dict[str, dict[str, Any]],
    source: Source,
    places: Places,
    sources: tuple[tuple[str, str], ...],
    progress: Callable[[str, float], None] | None,
    farm: FarmUse | None = None,
) -> Job:
    """Read what the checked *values* name."""
    tell = progress or (lambda _stage, _fraction: None)
    if values["boom"]["intervals"] != "log" or states_width(values["boom"]):
        boom_settings(values["boom"], places)  # a slip is told before any log is read
    files = [existing(source, name, places["track.files"], folder=True) for name in values["track"]["files"]]
    csv_file = None
    if values["boom"]["intervals"] not in INTERVAL_SOURCES:
        csv_file = _intervals_file(source, values["boom"]["intervals"], places["boom.intervals"])
    boundary, exclude, area_sources, cautions = _areas(values["field"], source, places)
    select = _selected(values["field"].get("select", ()), boundary.areas, places["field.select"])

    logs = _logs(values, source, files, tell)
    boom = with_machine(values["boom"], [log.machine for log in logs if log.machine], places)
    rate = rate_settings(values.get("rate", {}), boom, places)
    intervals, list_sources = _intervals(source, csv_file, len(boom.sections_m), cautions)
    track_sources = [pair for log in logs for pair in ((log.file, log.sha256), *log.beside)]
    span = cut_span(values, logs, places)
    settings = _job_settings(values, boom, rate, select, places, span, farm, _operator(logs))
    offset_s = settings.track.clock_offset_s
    kept, left_out = cut_logs(logs, span, offset_s, places["track.from"])
    own, told = own_lap(boundary, kept, offset_s, settings.timezone)
    return Job(
        settings,
        kept,
        boundary=boundary.areas,
        exclude=exclude,
        intervals=intervals,
        sources=tuple(dict.fromkeys((*sources, *track_sources, *area_sources, *list_sources))),
        cautions=(*cautions, *left_out, *told),
        derived_outline=boundary.derived or own,
        own_lap=own or settings.field.driven,
        remembered=remembered_rows(values["boom"], kept, offset_s, settings.timezone, places),
    )


def _intervals(
    source: Source, name: str | None, sections: int, cautions: list[Caution]
) -> tuple[tuple[Interval, ...] | None, list[tuple[str, str]]]:
    """On-times of the CSV file, if there is one, and its (file, sha256); rows left out are added to *cautions*."""
    if name is None:
        return None, []
    found = source.read(name)
    return read_boom(found, sections, cautions), [(found.name, found.sha256)]


def _logs(
    values: dict[str, dict[str, Any]], source: Source, files: Sequence[str], tell: Callable[[str, float], None]
) -> list[TrackLog]:
    """Every log of the files; what they leave open is as the job says."""
    job, track = values.get("job", {}), values["track"]
    asked = Asked(job.get("date"), job.get("timezone", ""), tuple(track.get("task", ())), track.get("device", ""))
    logs: list[TrackLog] = []
    for number, name in enumerate(files):
        tell(f"reading {source.base_name(name)}", number / len(files))
        logs += logs_of(source, name, asked)
    tell("reading", 1.0)
    return logs


def _operator(logs: Sequence[TrackLog]) -> str:
    """Who drove, as a terminal says."""
    return ", ".join(dict.fromkeys(log.task.operator for log in logs if log.task and log.task.operator))


# --- files ------------------------------------------------------------------------------------


def existing(source: Source, name: str, place: str, *, folder: bool = False) -> str:
    """Name of a file, or with *folder* of a folder too, that is there."""
    if not (source.exists(name, place) or (folder and source.folder(name))):
        # a backslash and a letter may be read as one character that no name has
        advice = "check the name" if name.isprintable() else "in file names write / instead of \\"
        raise InputError(f'there is no file "{name}" ({source.start}); {advice}', place)
    return name


def _intervals_file(source: Source, name: str, place: str) -> str:
    """Name of the boom CSV; a slip in one of the words gets its own message."""
    close = get_close_matches(name.lower(), INTERVAL_SOURCES, n=1, cutoff=0.7)
    if close and not source.exists(name, place):
        raise InputError(f'there is no file "{name}"; did you mean "{close[0]}"?', place)
    return existing(source, name, place)


def _areas(
    values: dict[str, Any], source: Source, places: Places
) -> tuple[FieldFile, tuple[NamedArea, ...], list[tuple[str, str]], list[Caution]]:
    """Boundary, no-spray areas, their (file, sha256) and cautions."""
    driven = values["boundary"] == DRIVEN_EDGE
    boundary = (
        FieldFile((), (), (), derived=True)
        if driven
        else field_of(source, existing(source, values["boundary"], places["field.boundary"]))
    )
    if not boundary.areas and not driven:
        raise InputError(
            "there are only no-spray areas in it; name a file with the field's outline", places["field.boundary"]
        )
    sources, cautions = list(boundary.sources), list(boundary.cautions)
    exclude: list[NamedArea] = [*boundary.no_spray, *boundary.edge_holes]
    for name in values.get("exclude", ()):
        found = field_of(source, existing(source, name, places["field.exclude"]))
        exclude += found.no_spray or found.areas
        sources += found.sources
        cautions += found.cautions
    return boundary, tuple(exclude), sources, cautions


def _selected(wanted: tuple[str, ...], boundary: tuple[NamedArea, ...], place: str) -> tuple[str, ...]:
    """Names of polygons, spelt as in the boundary file."""
    names = {area.name.casefold(): area.name for area in boundary}
    for name in wanted:
        if name.strip().casefold() not in names:
            raise InputError(f'the boundary file has no polygon "{name}"; it has: {", ".join(names.values())}', place)
    return tuple(names[name.strip().casefold()] for name in wanted)


# --- settings ---------------------------------------------------------------------------------


def _job_settings(
    values: dict[str, Any],
    boom: BoomSettings,
    rate: RateSettings,
    select: tuple[str, ...],
    places: Places,
    span: tuple[float | None, float | None],
    farm: FarmUse | None,
    operator: str,
) -> JobSettings:
    """Everything but the files; *operator* stands in where the job file names none."""
    job = values.get("job", {})

    def table(name: str, **others: object) -> Any:  # noqa: ANN401 - the table's own settings
        return TABLES[name].settings(**TABLES[name].values(values.get(name, {})), **others)

    return JobSettings(
        boom=boom,
        **{"operator": operator, **TABLES["job"].values(job)},
        timezone_given="timezone" in job,
        date_given="date" in job,
        field=table("field", select=select, driven=values["field"]["boundary"] == DRIVEN_EDGE),
        track=table("track", from_s=span[0], to_s=span[1]),
        rate=rate,
        report=table("report"),
        products=product_settings(values.get("product", ()), places[""]),
        accuracy=table("accuracy") if "accuracy" in values else None,
        proof=table("proof"),
        record=table("record"),
        touchup=table("touchup", planned_cut=job.get("planned_cut")),
        farm=farm,
    )
