"""Every key that a job file may hold: one row a key. A new key is one row here, and a field of its settings."""

from __future__ import annotations

from typing import Any

from coverage_audit import units

from . import record, remembered, touchup
from . import tolerances as tol
from .checks import (
    boolean,
    choice,
    date,
    list_of,
    local_moment,
    moment,
    one_or_list,
    path,
    product_amount,
    quantity,
    table,
    text,
    timezone,
    whole,
)
from .rows import Key, KeyRow, Table, checked, keys, table_rows
from .settings import (
    AccuracySettings,
    BoomSettings,
    FieldSettings,
    JobSettings,
    ProductSettings,
    ProofSettings,
    RateSettings,
    RecordSettings,
    ReportSettings,
    TrackSettings,
)

__all__ = ["PRODUCT", "TABLES", "date", "job_file", "key_rows", "timezone"]
# date and timezone: options of the command line are checked as the keys that they stand for

_LEVER = quantity(units.LENGTH_M, least=-tol.MAX_LEVER_M, most=tol.MAX_LEVER_M)
_DRAWBAR = quantity(units.LENGTH_M, most=tol.MAX_LEVER_M)
_WIDTH = quantity(units.LENGTH_M, least=tol.MIN_BAND_M, most=tol.MAX_BOOM_M)
_STRIP = quantity(units.LENGTH_M, most=tol.MAX_STRIP_M)
_LISTED = quantity(units.LENGTH_M, least=tol.MIN_STRIP_WIDTH_M, most=tol.MAX_STRIP_M)
_ERROR = quantity(units.LENGTH_M, most=tol.MAX_SIGMA_M)
_WANDERING = quantity(units.TIME_S, most=tol.MAX_TIME_CONSTANT_S, above=True)
_DELAY = quantity(units.TIME_S, least=-tol.MAX_DELAY_S, most=tol.MAX_DELAY_S)
_OFFSET = quantity(units.TIME_S, least=-tol.MAX_CLOCK_OFFSET_S, most=tol.MAX_CLOCK_OFFSET_S)
_GAP = quantity(units.TIME_S, most=tol.MAX_GAP_S, above=True)
_RATE = quantity(units.RATE_L_HA, most=tol.MAX_RATE_L_HA, above=True)
_FLOW = quantity(units.FLOW_L_MIN, most=tol.MAX_FLOW_L_MIN, above=True)
_PRESSURE = quantity(units.PRESSURE_BAR, most=tol.MAX_PRESSURE_BAR, above=True)
_APPLIED = quantity(units.VOLUME_L, most=tol.MAX_APPLIED_L, above=True)
_LOAD = quantity(units.VOLUME_L, most=tol.MAX_TANK_L, above=True)
_DAYS = quantity(units.INTERVAL_DAYS, most=tol.MAX_INTERVAL_DAYS)
_BRIDGED = quantity({"%": 0.01}, most=tol.MOST_BRIDGED_SHARE)
_NOZZLES = whole(tol.MAX_NOZZLES)
_CATCH = list_of(_FLOW, most=tol.MAX_NOZZLES)
_MIXED, _PER_AREA = product_amount(per_mix=True), product_amount(per_mix=False)
_BY_CLASS = "by the class of the fixes"

JOB = keys(
    Key("name", text, "name of the job on every paper", "name"),
    Key("operator", text, "who drove, for the report", "operator"),
    Key("crop", text, "the crop, for the report", "crop"),
    Key("notes", text, "anything else the report should say", "notes"),
    Key("timezone", timezone, "IANA name of the time zone of dates and times on paper", "timezone"),
    Key("date", date, "UTC date of the first fix, for a log without dates", default="from the log"),
    Key("planned_cut", date, "date of the planned cut, which a touch-up is held against"),
    Key("farm", path, "file of the farm: what is said there need not be said here"),
    Key("machine", text, "the machine of the farm that did the job"),
    Key("together", one_or_list(path, empty=True), "job files of machines that did the rest of the field with it"),
)

FIELD = keys(
    Key("boundary", path, 'file with the field\'s outline, or "driven": the edge that this job drove', required=True),
    Key("select", one_or_list(text), "names of the polygons to audit", default="every polygon that was sprayed"),
    Key("exclude", one_or_list(path, empty=True), "files with no-spray areas; holes of the boundary count too"),
    Key("setback", _STRIP, "strip along the outer edge left unsprayed on purpose", "setback_m", "m"),
    Key("exclude_setback", _STRIP, "strip round holes and no-spray areas", "exclude_setback_m", "m"),
    Key("grow", _STRIP, "moves a driven boundary outward, from the antenna's line to the field's edge", "grow_m", "m"),
)

TRACK = keys(
    Key("files", one_or_list(path), "logs of the job, joined in time order", required=True),
    Key("clock_offset", _OFFSET, "added to every time of the logs, never to the CSV", "clock_offset_s", "s"),
    Key("max_gap", _GAP, "a longer time between two fixes is a gap of the log", "max_gap_s", "s"),
    Key("from", local_moment, "local time at which the job begins in a longer log", default="the first fix"),
    Key("to", local_moment, "local time at which the job ends in a longer log", default="the last fix"),
    Key("task", one_or_list(text), "the job's tasks in task data, by name or key", default="the only one"),
    Key("device", text, "whose work states are the boom's, in task data of several machines", default="the only one"),
)

BOOM_NOZZLES = keys(
    Key("count", _NOZZLES, "number of nozzles", unit="1", required=True),
    Key("spacing", _WIDTH, "distance from nozzle to nozzle", unit="m"),
)

BOOM = keys(
    Key("width", _WIDTH, "width of the boom; sections or nozzles with a spacing will do instead", unit="m"),
    Key("sections", list_of(_WIDTH, most=tol.MAX_SECTIONS), "widths of the sections, left to right", unit="m"),
    Key("nozzles", checked(BOOM_NOZZLES), "nozzles on the boom: count x spacing is its width", inside=BOOM_NOZZLES),
    Key("intervals", path, 'a file with the boom-on times, or "log", "segments", "marks" or "assume"', required=True),
    Key(
        "antenna_ahead",
        _LEVER,
        "antenna ahead of the boom line when driving straight; negative: behind",
        "antenna_ahead_m",
        "m",
        "0 m, with a caution",
    ),
    Key("antenna_right", _LEVER, "antenna right of the boom's centre", "antenna_right_m", "m"),
    Key(
        "axle_behind_antenna",
        _LEVER,
        "the vehicle's fixed axle behind the antenna; when given, the heading follows it",
        "axle_behind_antenna_m",
        "m",
        "unknown",
    ),
    Key("towed", _DRAWBAR, "hitch to boom line; 0 for a boom fixed to the vehicle", "towed_m", "m"),
    Key("towed_axle", _DRAWBAR, "hitch to the trailer's wheels", unit="m", default="as towed"),
    Key("on_delay", _DELAY, "from the switch thrown on to spray at the ground", "on_delay_s", "s"),
    Key("off_delay", _DELAY, "from the switch thrown off to the last spray at the ground", "off_delay_s", "s"),
    Key(
        "remembered",
        one_or_list(remembered.row, empty=True),
        "what a person remembers of it afterwards, in place of what was logged or assumed",
        inside=remembered.ROW,
    ),
    Key("invert_switch", boolean, "true when 1 in the log stands for a boom that is off", "invert_switch"),
)

RATE_NOZZLES = keys(
    Key("flow", _FLOW, "flow of each nozzle at one pressure", unit="L/min", required=True),
    Key("at", _PRESSURE, "the pressure of that flow", unit="bar", required=True),
    Key("pressure", _PRESSURE, "the pressure sprayed at", unit="bar", default="as at"),
    Key("count", _NOZZLES, "number of nozzles", unit="1", default="boom.nozzles.count"),
)

RATE = keys(
    Key("target", _RATE, "rate that was intended", "target_l_ha", "L/ha"),
    Key("flow", _FLOW, "flow of the whole boom, all sections open", "flow_l_min", "L/min"),
    Key("nozzles", checked(RATE_NOZZLES), "flow of each nozzle, at one pressure", inside=RATE_NOZZLES),
    Key("applied", _APPLIED, "mix that left the tank", "applied_l", "L"),
    Key("label_max", _RATE, "most mix per area that the label allows", "label_max_l_ha", "L/ha"),
    Key("catch", _CATCH, "flows of a nozzle catch, left to right", "catch_l_min", "L/min"),
    Key("tank", _LOAD, "what the tank holds", unit="L"),
    Key("loads", list_of(_LOAD), "mix made each time", unit="L"),
    Key(
        "refills",
        list_of(moment),
        "times at which the second and later loads were in the tank",
        default="long stops with the boom off",
    ),
)

ACCURACY = keys(
    Key("sigma", _ERROR, "slowly wandering error of one coordinate, one standard deviation", "sigma_m", "m", _BY_CLASS),
    Key("noise", _ERROR, "white noise of one coordinate, one standard deviation", "noise_m", "m", _BY_CLASS),
    Key("boundary", _ERROR, "error of one coordinate of the boundary, one standard deviation", "boundary_m", "m"),
    Key("time_constant", _WANDERING, "time over which the wandering is forgotten", "time_constant_s", "s", _BY_CLASS),
    Key(
        "steering",
        choice("hand", "guided", "guided-other", "unknown"),
        "steered by eye, by the receiver that logged, by another one, or not known",
        "steering",
    ),
    Key(
        "replicates",
        whole(tol.MAX_REPLICATES, least=0),
        "how often the true job is drawn; 0 says nothing of accuracy",
        "replicates",
        "1",
    ),
)

PROOF = keys(
    Key("field_name", text, "the field's name on the proof", "field_name", default="job.name"),
    Key("crop_name", text, "the crop on the proof", "crop_name"),
    Key("hay_leaving_farm", text, "what the label says of hay leaving the farm", "hay_leaving_farm"),
    Key("feeding", text, "what the label says of feeding", "feeding"),
    Key("manure_compost", text, "what the label says of manure and compost", "manure_compost"),
    Key("applicator", text, "who applied it, for an application record", "applicator"),
    Key("certificate", text, "the applicator's certificate, for an application record", "certificate"),
    Key("location", text, "where the field lies, for an application record", "location"),
    Key("max_bridged", _BRIDGED, "most of the target that may rest on bridged gaps", "max_bridged", "%", "1 %"),
)

RECORD = keys(
    Key("type_of_use", choice(*record.TYPES_OF_USE), "what was treated, for an application record", "type_of_use"),
    Key("eppo_code", record.eppo_code, "EPPO code of the crop, for an application record", "eppo_code"),
    Key("bbch", record.bbch, "growth stage of the crop (BBCH), for an application record", "bbch"),
)

REPORT = keys(
    Key("units", choice("metric", "us"), '"metric" or "us"', "units"),
    Key("min_width", _LISTED, "narrower skips are totalled, not listed", "min_width_m", "m"),
)

PRODUCT = keys(
    Key("from", text, "the product of the farm that this is"),
    Key("name", text, "name of the product", "name", required=True),
    Key("reg_no", text, "its registration number", "reg_no"),
    Key("rate", _MIXED, "product per area, or per volume of mix", "rate", "L/ha, kg/ha, L/L, kg/L"),
    Key(
        "max_per_application",
        _PER_AREA,
        "the label's most product per area in one application",
        "max_per_application",
        "L/ha, kg/ha",
    ),
    Key("max_per_season", _PER_AREA, "the label's most product per area in a season", "max_per_season", "L/ha, kg/ha"),
    Key("phi", _DAYS, "the label's pre-harvest interval", "phi_days", "days"),
    Key("grazing", _DAYS, "the label's interval before grazing", "grazing_days", "days"),
    Key("rei", _DAYS, "the label's re-entry interval", "rei_days", "days"),
)

TABLES: dict[str, Table] = {
    "job": Table(JOB, JobSettings),
    "field": Table(FIELD, FieldSettings),
    "track": Table(TRACK, TrackSettings),
    "boom": Table(BOOM, BoomSettings),
    "rate": Table(RATE, RateSettings),
    "accuracy": Table(ACCURACY, AccuracySettings),
    "touchup": touchup.TABLE,
    "proof": Table(PROOF, ProofSettings),
    "record": Table(RECORD, RecordSettings),
    "report": Table(REPORT, ReportSettings),
    "product": Table(PRODUCT, ProductSettings, several=True),
}
"""Every table of the job file. An audit cannot do without one of boom.width, sections and nozzles either."""


def job_file(value: object, place: str) -> dict[str, Any]:
    """Check a whole job file.

    Parameters
    ----------
    value : object
        What the file holds; a table with a key that must be there is taken as empty when it is missing.
    place : str
        The file's name.

    Raises
    ------
    InputError
        A key that is not known or is missing, or a value that is not right, with its place.
    """
    single = {name: one.keys.values() for name, one in TABLES.items() if not one.several}
    needed: dict[str, Any] = {name: {} for name, inside in single.items() if any(key.required for key in inside)}
    whole_file = table({name: one.check for name, one in TABLES.items()})
    found: dict[str, Any] = whole_file({**needed, **value} if isinstance(value, dict) else value, place)
    return found


def key_rows() -> tuple[KeyRow, ...]:
    """Every key of the job file with its default, unit and words, table by table."""
    return tuple(row for name, one in TABLES.items() for row in table_rows(name, one))
