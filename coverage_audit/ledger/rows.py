"""A record of a finished audit to its row of the ledger."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import shapely
import shapely.geometry

from .model import JobRow, ProductRow, StripRow

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from coverage_audit.read.result_record import JobRecord

    from .model import Mended


def job_row(job: str, record: JobRecord) -> JobRow:
    """Row of the job in the folder *job*."""
    told = record.summary
    about, rates, volume = told["job"], told.get("rate_l_ha") or {}, told["volume_l"]
    zone = str(about.get("timezone") or "UTC")
    return JobRow(
        job=job,
        name=about["name"],
        fields=tuple(about.get("fields") or ()),
        machine=str(about.get("machine") or ""),
        start=about["start"],
        end=about["end"],
        first_day=local_day(about["start"], zone),
        last_day=local_day(about["end"], zone),
        units=str(about.get("units") or "metric"),
        assumed=bool(told.get("assumed")),
        area_m2={name: value for name, value in told["area_m2"].items() if not isinstance(value, list)},
        applied_l=volume["applied"],
        laid_l=_laid_l(volume),
        over_covered_l_ha=rates.get("over_covered"),
        target_l_ha=rates.get("target"),
        products=tuple(_product(one) for one in told.get("products") or ()),
        box_deg=_box(record),
        part=told.get("together") is not None,
    )


def local_day(utc: str, timezone: str) -> str:
    """ISO date in an IANA *timezone* of a *utc* time such as "2026-05-30T13:00:00Z"."""
    moment = dt.datetime.fromisoformat(utc[:19]).replace(tzinfo=dt.UTC)
    return moment.astimezone(ZoneInfo(timezone)).date().isoformat()


def shape_of(record: JobRecord, kind: str) -> shapely.Geometry:
    """Ground of one *kind* among the record's features, in degrees; empty where there is none."""
    features = [*record.lines, *record.findings]
    found = [shapely.geometry.shape(one["geometry"]) for one in features if one["properties"].get("kind") == kind]
    return shapely.union_all(found) if len(found) != 1 else found[0]


def strip_rows(
    job: str, record: JobRecord, mended: Sequence[Mended], told: Mapping[tuple[str, str], float]
) -> Iterator[StripRow]:
    """Each missed strip of a job, largest first, with its ground and how much of it was made good later.

    *told*: by job and strip, what another job of the treatment tells. [m2]
    """
    ground = {one["properties"].get("id"): shapely.geometry.shape(one["geometry"]) for one in record.findings}

    def good(name: str, *, together: bool) -> float:
        own = (one for one in mended if (one.job, one.strip, one.together) == (job, name, together))
        return sum(one.mended_m2 for one in own)

    for strip in record.summary.get("missed_strips") or ():
        name = strip["id"]
        yield StripRow(
            job=job,
            strip=name,
            area_m2=strip["area_m2"],
            mended_m2=good(name, together=False),
            shared_m2=good(name, together=True),
            told_m2=told.get((job, name), 0.0),
            length_m=strip["length_m"],
            mean_width_m=strip["mean_width_m"],
            max_width_m=strip["max_width_m"],
            where=strip["where"],
            cause=(strip.get("cause") or {}).get("kind") or "unknown",
            wkb=shapely.to_wkb(ground.get(name, shapely.Polygon())),
        )


def _laid_l(volume: Mapping[str, Any]) -> float | None:
    """What lies on the ground: the spray accounted for, less what went out while standing. [L]"""
    applied, closure = volume["applied"], volume.get("closure")
    return None if applied is None or closure is None else closure * applied - (volume.get("standing") or 0.0)


def _product(told: Mapping[str, Any]) -> ProductRow:
    keys = ("unit", "used", "most_per_ha", "max_per_season", "phi_days", "grazing_days")
    return ProductRow(
        told["name"], told.get("reg_no") or "", per_l=told.get("per_l_mix"), **{key: told.get(key) for key in keys}
    )


def _box(record: JobRecord) -> tuple[float, float, float, float]:
    west, south, east, north = shape_of(record, "field").bounds
    return float(west), float(south), float(east), float(north)
