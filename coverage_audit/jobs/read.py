"""The job file (TOML), or the few options that replace it, to a :class:`Job`."""

from __future__ import annotations

import math
import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.read.boom_times import read_boom
from coverage_audit.read.outlines.registry import read_field
from coverage_audit.read.source import is_there, read_bytes
from coverage_audit.read.tracks.registry import read_track

from . import tolerances as tol
from .accuracy import accuracy_settings
from .job import Job
from .keys import JOB_FILE, REQUIRED, TABLES
from .rate import product_settings, tank_settings
from .settings import (
    BoomSettings,
    FieldSettings,
    JobSettings,
    NozzleSettings,
    ProofSettings,
    RateSettings,
    ReportSettings,
    TrackSettings,
)
from .touchup import touchup_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from coverage_audit.read.records import Interval, NamedArea

INTERVAL_SOURCES = ("log", "segments", "marks", "assume")
"""Words that ``boom.intervals`` may hold; anything else is the name of a CSV file."""

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


def _not_toml(data: bytes, error: Exception) -> str:
    """What is wrong with a job file that is no TOML, with the usual cause where one shows."""
    if data.lstrip().startswith((b"<", b"$", b"{")):
        return (
            "this is not a job file; give a log with --track, a boundary with --field, or write a job file (see README)"
        )
    found = str(error)
    hint = ""
    if "hex value" in found or "escape" in found:
        hint = "; in file names write / instead of \\"
    elif "Expected newline" in found or "Invalid value" in found:
        hint = '; text and quantities need quotes, as in width = "9 m"'
    return f"this is not TOML ({found}){hint}; correct it there"


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
    source = read_bytes(path)
    try:
        data = tomllib.loads(source.data.decode("utf-8-sig").replace("\r\n", "\n"))
    except UnicodeDecodeError as error:
        raise InputError(
            "this is not text; save the job file as UTF-8", f"{source.name}, byte {error.start}"
        ) from error
    except (ValueError, RecursionError) as error:  # TOMLDecodeError, and numbers too long to be read
        raise InputError(_not_toml(source.data, error), source.name) from error
    _refuse_huge(data, source.name)
    if intervals is not None and isinstance(boom := data.get("boom"), dict):
        data["boom"] = boom | {"intervals": intervals}
    values = JOB_FILE({key: {} for key in REQUIRED} | data, source.name)
    job_files = ((source.name, source.sha256),)
    return _job(values, path.parent, _Places(f"{source.name}, "), job_files, progress)


def _refuse_huge(value: object, place: str) -> None:
    """Raise on a whole number that TOML does not promise to carry (it need not go beyond 64 bits)."""
    if isinstance(value, dict):
        for key, entry in value.items():
            _refuse_huge(entry, f"{place}{'.' if ', ' in place else ', '}{key}")
    elif isinstance(value, list):
        for entry in value:
            _refuse_huge(entry, place)
    elif isinstance(value, int) and value.bit_length() > 63:
        raise InputError("this whole number is out of every range; correct it", place)


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
        GPX or NMEA files.
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
            values.setdefault(table, {})[key] = TABLES[table][key](value, option)
    return _job(values, Path(), _Places("", {key: option for option, key in OPTION_KEYS.items()}), (), progress)


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
    if table not in TABLES or (key and key not in TABLES[table]):
        return place
    if job_file is not None:
        return f"{job_file}, {place}"
    return next((option for option, stands_for in OPTION_KEYS.items() if stands_for == place), place)


class _Places:
    """Where a key was given: in a job file ("job.toml, boom.width") or as an option ("--boom")."""

    def __init__(self, prefix: str, options: dict[str, str] | None = None) -> None:
        self.prefix = prefix
        self.options = options or {}

    def __getitem__(self, key: str) -> str:
        return self.options.get(key, self.prefix + key)


def _job(
    values: dict[str, dict[str, Any]],
    folder: Path,
    places: _Places,
    sources: tuple[tuple[str, str], ...],
    progress: Callable[[str, float], None] | None,
) -> Job:
    """Read what the checked *values* name."""
    tell = progress or (lambda _stage, _fraction: None)
    boom = _boom_settings(values["boom"], places)
    rate = _rate_settings(values.get("rate", {}), boom, places)
    files = [_existing(folder, name, places["track.files"]) for name in values["track"]["files"]]
    csv_file = None
    if boom.intervals == "csv":
        csv_file = _intervals_file(folder, values["boom"]["intervals"], places["boom.intervals"])
    boundary, exclude, area_sources, cautions = _areas(values["field"], folder, places)
    select = _selected(values["field"].get("select", ()), boundary, places["field.select"])

    intervals: tuple[Interval, ...] | None = None
    if csv_file is not None:
        boom_file = read_boom(csv_file, len(boom.sections_m))
        intervals = boom_file.intervals
        area_sources.append((csv_file.name, boom_file.sha256))
    logs = []
    for number, file in enumerate(files):
        tell(f"reading {file.name}", number / len(files))
        logs.append(read_track(file, values.get("job", {}).get("date")))
    tell("reading", 1.0)
    track_sources = tuple((log.file, log.sha256) for log in logs)
    return Job(
        settings=_job_settings(values, boom, rate, select, places),
        logs=tuple(logs),
        boundary=boundary,
        exclude=exclude,
        intervals=intervals,
        sources=(*sources, *track_sources, *area_sources),
        cautions=tuple(cautions),
    )


# --- files ------------------------------------------------------------------------------------


def _existing(folder: Path, name: str, place: str) -> Path:
    """Path of a file that is there."""
    path = folder / name
    if not is_there(path, place):
        raise InputError(f'there is no file "{name}" ({_start(folder)}); check the name', place)
    return path


def _intervals_file(folder: Path, name: str, place: str) -> Path:
    """Path of the boom CSV; a slip in one of the words gets its own message."""
    close = get_close_matches(name.lower(), INTERVAL_SOURCES, n=1, cutoff=0.7)
    if close and not is_there(folder / name, place):
        raise InputError(f'there is no file "{name}"; did you mean "{close[0]}"?', place)
    return _existing(folder, name, place)


def _start(folder: Path) -> str:
    """Where relative paths start, in words."""
    return "looked for beside the job file" if folder != Path() else "looked for in the current folder"


def _areas(
    values: dict[str, Any], folder: Path, places: _Places
) -> tuple[tuple[NamedArea, ...], tuple[NamedArea, ...], list[tuple[str, str]], list[str]]:
    """Boundary, no-spray areas, their (file, sha256) and cautions."""
    boundary = read_field(_existing(folder, values["boundary"], places["field.boundary"]))
    sources, cautions = list(boundary.sources), list(boundary.cautions)
    exclude: list[NamedArea] = []
    for name in values.get("exclude", ()):
        found = read_field(_existing(folder, name, places["field.exclude"]))
        exclude += found.areas
        sources += found.sources
        cautions += found.cautions
    return boundary.areas, tuple(exclude), sources, cautions


def _selected(wanted: tuple[str, ...], boundary: tuple[NamedArea, ...], place: str) -> tuple[str, ...]:
    """Names of polygons, spelt as in the boundary file."""
    names = {area.name.casefold(): area.name for area in boundary}
    for name in wanted:
        if name.strip().casefold() not in names:
            raise InputError(f'the boundary file has no polygon "{name}"; it has: {", ".join(names.values())}', place)
    return tuple(names[name.strip().casefold()] for name in wanted)


# --- settings ---------------------------------------------------------------------------------


def _job_settings(
    values: dict[str, Any], boom: BoomSettings, rate: RateSettings, select: tuple[str, ...], places: _Places
) -> JobSettings:
    """Everything but the files."""
    job, field, track = (values.get(table, {}) for table in ("job", "field", "track"))
    return JobSettings(
        boom=boom,
        **{key: job[key] for key in ("name", "operator", "crop", "notes", "timezone") if key in job},
        timezone_given="timezone" in job,
        field=FieldSettings(
            select, **{f"{key}_m": field[key] for key in ("setback", "exclude_setback", "grow") if key in field}
        ),
        track=TrackSettings(**{f"{key}_s": track[key] for key in ("clock_offset", "max_gap") if key in track}),
        rate=rate,
        report=_report_settings(values.get("report", {})),
        products=product_settings(values.get("product", ()), places[""]),
        accuracy=accuracy_settings(values.get("accuracy")),
        proof=ProofSettings(**values.get("proof", {})),
        touchup=touchup_settings(values.get("touchup", {}), job.get("planned_cut")),
    )


def _report_settings(values: dict[str, Any]) -> ReportSettings:
    default = ReportSettings()
    return ReportSettings(values.get("units", default.units), values.get("min_width", default.min_width_m))


def _boom_settings(values: dict[str, Any], places: _Places) -> BoomSettings:
    """Boom geometry and timing; the widths must agree."""
    nozzles = values.get("nozzles", {})
    count, spacing = nozzles.get("count"), nozzles.get("spacing")
    sections = values.get("sections")
    widths = {
        "width": values.get("width"),
        "sections": math.fsum(sections) if sections else None,
        "nozzles": count * spacing if spacing else None,
    }
    stated = {key: width for key, width in widths.items() if width is not None}
    if not stated:
        missing = "give boom.width, boom.sections, or boom.nozzles with count and spacing"
        raise InputError(f"the boom has no width; {missing}", places["boom.width"])
    width = next(iter(stated.values()))
    for key, other in stated.items():
        if abs(other - width) > tol.WIDTH_AGREEMENT_M + 1e-9:  # 1e-9 m: adding section widths rounds
            first = next(iter(stated))
            raise InputError(
                f"the boom is {other:.3f} m wide by this, but {width:.3f} m by boom.{first}; correct one of them",
                places[f"boom.{key}"],
            )
    if width > tol.MAX_BOOM_M:
        raise InputError(f"a boom of {width:g} m is out of range; at most {tol.MAX_BOOM_M:g} m", places["boom.width"])
    widths_m = sections or (width,)
    return BoomSettings(
        sections_m=widths_m,
        intervals=values["intervals"] if values["intervals"] in INTERVAL_SOURCES else "csv",
        section_nozzles=_section_nozzles(widths_m, count),
        nozzle_count=count,
        **_boom_lengths(values, places),
    )


def _boom_lengths(values: dict[str, Any], places: _Places) -> dict[str, Any]:
    """Lever arms and delays under the names of :class:`BoomSettings`."""
    lengths = ("antenna_ahead", "antenna_right", "axle_behind_antenna", "towed", "towed_axle")
    found: dict[str, Any] = {f"{key}_m": values[key] for key in lengths if key in values}
    found |= {f"{key}_s": values[key] for key in ("on_delay", "off_delay") if key in values}
    found["invert_switch"] = values.get("invert_switch", False)
    towed = values.get("towed", 0.0)
    found["towed_axle_m"] = values.get("towed_axle", towed) if towed else 0.0
    if towed and not found["towed_axle_m"]:
        raise InputError(
            "a trailer's wheels cannot stand at its hitch; give the distance, or leave it out when the boom is"
            " above the wheels",
            places["boom.towed_axle"],
        )
    return found


def _section_nozzles(sections_m: tuple[float, ...], count: int | None) -> tuple[int, ...]:
    """Nozzles per section when they spread evenly into whole numbers, else ()."""
    if count is None:
        return ()
    shares = [count * section / math.fsum(sections_m) for section in sections_m]
    whole = tuple(round(share) for share in shares)
    even = all(abs(share - number) < 0.1 for share, number in zip(shares, whole, strict=True))
    return whole if even and sum(whole) == count and min(whole) > 0 else ()


def _rate_settings(values: dict[str, Any], boom: BoomSettings, places: _Places) -> RateSettings:
    """Rate figures; the nozzle count may stand here or under [boom]."""
    nozzles = None
    if "nozzles" in values:
        given = values["nozzles"]
        count = given.get("count", boom.nozzle_count)
        if boom.nozzle_count not in (None, count):
            raise InputError(
                f"the boom has {boom.nozzle_count} nozzles by boom.nozzles.count but {count} here; correct one of them",
                places["rate.nozzles.count"],
            )
        nozzles = NozzleSettings(given["flow"], given["at"], given.get("pressure"), count)
    return RateSettings(
        target_l_ha=values.get("target"),
        flow_l_min=values.get("flow"),
        nozzles=nozzles,
        applied_l=values.get("applied"),
        label_max_l_ha=values.get("label_max"),
        catch_l_min=values.get("catch", ()),
        tank=tank_settings(values, places["rate."]),
    )
