"""How much of each product went out, against what was meant and what its label allows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.units import HECTARE_M2

from .model import ProductUse
from .tolerances import BAND_SLACK

if TYPE_CHECKING:
    from coverage_audit.ground.model import Areas
    from coverage_audit.jobs.settings import Amount, ProductSettings

    from .model import RateCells, TankResult, Volume


def mix_strength(rate: Amount | None, target_l_ha: float | None) -> float | None:
    """Product in a litre of mix; a rate per area needs the intended rate of mix. [L/L or kg/L]"""
    if rate is None:
        return None
    if rate.per == "L":
        return rate.value
    return rate.value / target_l_ha if target_l_ha else None


def product_use(
    settings: ProductSettings, volume: Volume, areas: Areas, cells: RateCells | None, tank: TankResult | None
) -> ProductUse:
    """Use of one product over the whole job and by load; see :class:`ProductUse`."""
    strength = mix_strength(settings.rate, volume.target_l_ha)
    rate = settings.rate
    if strength is None or rate is None:
        return ProductUse(settings)
    mean = volume.over_covered_l_ha
    most, limit = settings.max_per_application, None
    if cells is not None and most is not None:
        above = cells.rate_l_ha * strength > most.value * (1 + BAND_SLACK)
        limit = float(cells.swept[above].sum() / cells.swept.sum()) * areas.swept_net
    per_ha = rate.value if rate.per == "ha" else strength * volume.target_l_ha if volume.target_l_ha else None
    return ProductUse(
        settings,
        per_l=strength,
        used=None if volume.applied_l is None else strength * volume.applied_l,
        intended=None if per_ha is None else per_ha * areas.target / HECTARE_M2,
        left=None if tank is None else strength * tank.left_l,
        per_load=() if tank is None else tuple(strength * load.added_l for load in tank.loads),
        mean_per_ha=None if mean is None else strength * mean,
        most_per_ha=None if cells is None else strength * float(cells.rate_l_ha.max()),
        above_max_m2=limit,
    )
