"""The records behind a coverage proof: the grower's, full, and the buyer's, with what is withheld committed to."""

from __future__ import annotations

import datetime as dt
import math
import platform
from importlib.metadata import version
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import shapely

from coverage_audit import __version__
from coverage_audit.drive.plane import Plane
from coverage_audit.errors import InputError
from coverage_audit.jobs.job import ASSUMED, SEEN, boom_state
from coverage_audit.papers.application.fields import fields_of, uses
from coverage_audit.papers.application.laws import EU, US
from coverage_audit.papers.words.cautions import caution_texts
from coverage_audit.papers.words.display import utc_text
from coverage_audit.read.records import REMEMBERED

from .checker import checker_sha256
from .contradictions import contradictions
from .figures import figures, seen_alone, shown_figures, text
from .names import LIBRARIES, MISSING, SCHEMA
from .picture import drawn_map
from .rests import land, rests_of
from .sign import commitment, fingerprint, salt

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.jobs.settings import Amount, ProofSettings
    from coverage_audit.papers.application.fields import Value
    from coverage_audit.papers.application.laws import Law
    from coverage_audit.rate.model import ProductUse
    from coverage_audit.recipe.result import Audit

    Record = dict[str, Any]

WITHHELD = ("grower", "inputs", "settings")
"""Parts of the grower's record that the buyer's copy only commits to."""


def refuse(audits: Sequence[Audit], settings: ProofSettings, made: str) -> None:
    """Refuse what cannot be proven, and say why.

    Parameters
    ----------
    made : str
        When the proof is made, ISO 8601 UTC.

    Raises
    ------
    InputError
        Assumed boom state, too much bridged ground, or sums that do not close.
    """
    for audit in audits:
        name = audit.job.settings.name or "the job"
        if audit.end_s > dt.datetime.fromisoformat(made).timestamp():
            raise InputError(
                f"{name}: the log ends on {utc_text(audit.end_s)}, after the proof is made ({made}); one of the clocks "
                "is wrong",
                "job",
            )
        areas = audit.area_m2
        state = boom_state(audit.job)
        if state not in SEEN or audit.assumed is not None:
            kind = REMEMBERED if state == REMEMBERED else ASSUMED
            raise InputError(f"{name}: the boom state is {kind}, so coverage cannot be proven", "boom.intervals")
        if audit.job.together:
            raise InputError(
                f"{name}: its target leaves out what another machine took, and a proof stands for one machine's log; "
                "take job.together out, and prove each machine's part by itself",
                "job.together",
            )
        if audit.job.derived_outline:
            raise InputError(
                f"{name}: the field's outline was made from a drive over it, so it proves nothing of its edge; "
                "use an outline that was drawn or surveyed",
                "field.boundary",
            )
        if not areas.target > 0:
            raise InputError(f"{name}: there is no target area, so there is nothing to prove", "field")
        share = areas.bridged / areas.target
        if share > settings.max_bridged:
            raise InputError(
                f"{name}: {100 * share:.1f} % of the target rests on bridging gaps of the log; a proof allows "
                f"{100 * settings.max_bridged:g} %",
                "proof.max_bridged",
            )
        if not audit.checks.ok:
            raise InputError(f"{name}: its sums do not close or its second count differs: no proof", "audit")
        for what, place in contradictions(audit):
            raise InputError(f"{name}: {what}", place)


def grower_record(audits: Sequence[Audit], made: str) -> Record:
    """The full record of one job and the touch-ups after it.

    Parameters
    ----------
    made : str
        When the proof was made, ISO 8601 UTC.
    """
    first = audits[0]
    settings = first.job.settings
    seen = [seen_alone(one) for one in audits]
    sure = seen[0]
    found = figures(audits, sure)
    return {
        "schema": SCHEMA,
        "copy": "grower",
        "made": made,
        "what": _what(first),
        "says": _says(found, first.area_m2.target, settings.report.units),
        "figures": found,
        "rests": [rests_of(audit, one) for audit, one in zip(audits, seen, strict=True)],
        "units": settings.report.units,
        "time": {"is": "own"},
        "later": [
            {"date": _local_date(one), "products": [use.settings.name for use in _uses(one)]} for one in audits[1:]
        ],
        "grower": {
            "operator": settings.operator or MISSING,
            "start": [utc_text(one.start_s) for one in audits],
            "end": [utc_text(one.end_s) for one in audits],
            "outline": _outline_degrees(first),
            "missed_strips": [_strip(strip, first) for strip in first.missed_strips],
            "cautions": caution_texts(first),
            "record_7_cfr_110_3": _law_fields(US, first),
            "record_eu_2023_564": _law_fields(EU, first),
        },
        "inputs": [{"file": name, "sha256": digest} for one in audits for name, digest in one.job.sources],
        "settings": {"units": settings.report.units, "min_width_m": text(settings.report.min_width_m, 3)},
        "software": software(),
    }


def _says(found: Record, target_m2: float, units: str) -> Record:
    """Ground to be sprayed, and what of it was passed over as logged, touch-ups counted in."""
    passed = target_m2 * float(found["logged_share"]["value"]) / 100
    ranged = found["covered_low90_share"]["value"] is not None
    return {"is": "ranged" if ranged else "logged", "target": land(target_m2, units), "passed": land(passed, units)}


def _what(first: Audit) -> Record:
    settings, stated = first.job.settings, first.job.settings.proof
    return {
        "field": stated.field_name or settings.name or MISSING,
        "crop": stated.crop_name or settings.crop or MISSING,
        "date": _local_date(first),
        "products": [_product(use, first) for use in _uses(first)],
        "label": {key: getattr(stated, key) or MISSING for key in ("hay_leaving_farm", "feeding", "manure_compost")},
    }


def software() -> dict[str, str]:
    """Versions of everything that the figures depend on."""
    own = {"coverage-audit": __version__, "python": platform.python_version()}
    return {**own, **{name: version(name) for name in LIBRARIES}}


def _uses(audit: Audit) -> Sequence[ProductUse]:
    return audit.rate.products if audit.rate else ()


def _local_date(audit: Audit) -> str:
    return dt.datetime.fromtimestamp(audit.start_s, ZoneInfo(audit.job.settings.timezone)).date().isoformat()


def _typed(amount: Amount) -> str:
    return f"{amount.value / amount.size:g} {amount.unit}"


def _product(use: ProductUse, audit: Audit) -> Record:
    given = use.settings
    day = dt.date.fromisoformat(_local_date(audit))

    def after(days: float | None) -> str:
        return MISSING if days is None else (day + dt.timedelta(days=math.ceil(days))).isoformat()

    return {
        "name": given.name,
        "reg_no": given.reg_no or MISSING,
        "rate": MISSING if given.rate is None else _typed(given.rate),
        "earliest_cut": after(given.phi_days),
        "earliest_grazing": after(given.grazing_days),
    }


def _strip(strip: Any, audit: Audit) -> Record:  # noqa: ANN401 - a Strip
    lon, lat = Plane(audit.origin).to_degrees(strip.label_point.x, strip.label_point.y)
    return {"id": strip.id, "area_m2": text(strip.area_m2, 1), "lat": text(float(lat), 6), "lon": text(float(lon), 6)}


def _outline_degrees(audit: Audit) -> list[list[str]]:
    longest = max(shapely.get_parts(audit.layers.field), key=lambda part: part.area)
    degrees = Plane(audit.origin).geometry_to_degrees(shapely.Polygon(longest.exterior))
    return [[text(float(y), 6), text(float(x), 6)] for x, y in shapely.get_coordinates(degrees)]


def _law_fields(law: Law, audit: Audit) -> Record:
    """Each field that *law* asks for, of all products, in one line; "not stated" where one of them lacks it."""
    found = [fields_of(law, audit, use) for use in uses(audit)]
    return {one.name: "; ".join(_told(each[one.name]) for each in found) for one in law.fields}


def _told(value: Value | None) -> str:
    if value is None:
        return MISSING
    if isinstance(value.value, dict):
        return "the outline above"
    return value.value if isinstance(value.value, str) else f"{value.value:g} {value.unit}"


# --- the buyer's copy ----------------------------------------------------------------------------


def buyer_record(full: Record, audit: Audit, place: str, secret_hex: str, *, stamped: bool = False) -> Record:
    """What the buyer sees: no track, times of day, operator or finer coordinates than asked.

    Parameters
    ----------
    place : {"exact", "blurred", "none"}
        "exact" shows the field's shape and full figures; both others no shape, and areas to 0.1 ha.
    secret_hex : str
        For the salts of the commitments.
    stamped : bool
        Whether a time stamp will be put on it.
    """
    own = fingerprint(full)
    shown = {key: full[key] for key in ("schema", "what", "says", "figures", "rests", "units", "later", "software")}
    shown["figures"] = shown_figures(full["figures"], place)
    withheld = withheld_parts(full)
    return {
        **shown,
        "copy": "buyer",
        "made": full["made"][:10],
        "time": {"is": "stamped" if stamped else "own"},
        "checker": checker_sha256(),
        "place": place,
        "map": drawn_map(audit, place),
        "withheld": sorted("/".join(path) for path in withheld),
        "commitments": {
            "/".join(path): commitment(salt(secret_hex, own, path), value) for path, value in withheld.items()
        },
    }


def withheld_parts(full: Record) -> dict[tuple[str, str], Any]:
    """What the buyer's copy of *full* only commits to, by part and key."""
    parts = {(name, key): value for name in ("grower", "settings") for key, value in full[name].items()}
    return parts | {("inputs", str(k)): value for k, value in enumerate(full["inputs"])}
