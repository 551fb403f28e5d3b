"""Rate, speed, tank and product as ``summary.json`` and ``findings.geojson`` hold them."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from coverage_audit.papers.words.cautions import texts
from coverage_audit.papers.words.rate import REFILLS
from coverage_audit.rate.model import RateBands

if TYPE_CHECKING:
    from collections.abc import Iterator

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.rate.model import ProductUse, RateResult, TankResult
    from coverage_audit.recipe.result import Audit


def rate_keys(audit: Audit) -> dict[str, Any]:
    """Keys of ``summary.json`` that tell the rate; what could not be computed is None. Times in seconds."""
    found = audit.rate
    if found is None:
        bands = asdict(RateBands(audit.volume.target_l_ha))
        nothing = {"speed": ("mean_m_s", "p05_m_s", "p95_m_s")}
        nothing["capacity"] = ("theoretical_ha_h", "actual_ha_h", "field_efficiency")
        return {"rate_bands": bands, **{key: dict.fromkeys(names) for key, names in nothing.items()}}
    disagree = texts(found.disagreements, audit.job.settings.report.units)
    return {
        "rate_bands": asdict(found.bands),
        "speed": {key: getattr(found.speed, key) for key in ("mean_m_s", "p05_m_s", "p95_m_s")},
        "capacity": asdict(found.capacity),
        "rate_max_l_ha": found.max_l_ha,
        "rate_classes": _classes(found),
        "flow_sources": {"used": found.source, "relative": found.by_source_share, "disagree": disagree},
        "nozzle_catch": None if found.catch is None else asdict(found.catch),
        "tank": None if found.tank is None else _tank(found.tank),
        "products": [_product(use) for use in found.products],
        "above_label_max": [
            {"id": p.id, "area_m2": p.area_m2, "mean_l_ha": p.mean_l_ha, "max_l_ha": p.max_l_ha, "cause": p.cause}
            for p in found.places
        ],
        "above_label_max_small_m2": found.above_label_small_m2,
        "standing": [{"id": s.id, "seconds": s.seconds, "volume_l": s.volume_l} for s in found.standing],
    }


def volume_keys(audit: Audit) -> dict[str, float | None]:
    """Keys that join ``volume_l``: ``standing`` [L], and ``closure``, the share of the spray accounted for [1]."""
    found = audit.rate
    return {"standing": found.standing_l, "closure": found.closure} if found else {"standing": None, "closure": None}


def rate_findings(audit: Audit) -> Iterator[tuple[BaseGeometry, dict[str, Any]]]:
    """Shape and properties of each finding about the rate; a standing place is a line without area."""
    found = audit.rate
    if found is None:
        return
    for dry in found.tank.dry if found.tank else ():
        told = {"id": dry.id, "kind": "perhaps dry", "area_m2": dry.area_m2, "where": f"load {dry.load}"}
        yield dry.polygon, {**told, "in_target_m2": dry.in_target_m2}
    for place in found.places:
        told = {"id": place.id, "kind": "above label max", "area_m2": place.area_m2, "where": place.cause}
        yield place.polygon, {**told, "mean_l_ha": place.mean_l_ha, "max_l_ha": place.max_l_ha}
    for stand in found.standing:
        told = {"id": stand.id, "kind": "standing", "area_m2": None, "where": "standing"}
        yield stand.line, {**told, "seconds": stand.seconds, "volume_l": stand.volume_l}


def _classes(found: RateResult) -> list[dict[str, Any]]:
    return [{"from_l_ha": one.low_l_ha, "to_l_ha": one.high_l_ha, "area_m2": one.area_m2} for one in found.classes]


def _tank(tank: TankResult) -> dict[str, Any]:
    dry = [
        {"id": one.id, "load": one.load, "area_m2": one.area_m2, "in_target_m2": one.in_target_m2} for one in tank.dry
    ]
    return {
        "loads": [asdict(load) for load in tank.loads],
        "dry": dry,
        "refills": REFILLS[tank.refills],
        "left_l": tank.left_l,
    }


def _product(use: ProductUse) -> dict[str, Any]:
    settings = use.settings
    limits = {key: getattr(settings, key) for key in ("rate", "max_per_application", "max_per_season")}
    return {
        "name": settings.name,
        "reg_no": settings.reg_no,
        "unit": settings.rate.kind if settings.rate else None,
        **{key: None if amount is None else amount.value for key, amount in limits.items()},
        "rate_per": settings.rate.per if settings.rate else None,
        "phi_days": settings.phi_days,
        "grazing_days": settings.grazing_days,
        "rei_days": settings.rei_days,
        "per_l_mix": use.per_l,
        "used": use.used,
        "intended": use.intended,
        "left": use.left,
        "per_load": use.per_load,
        "mean_per_ha": use.mean_per_ha,
        "most_per_ha": use.most_per_ha,
        "above_max_m2": use.above_max_m2,
    }
