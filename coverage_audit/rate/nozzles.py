"""What single nozzles let out, and whether the sources of the job's volume agree."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.facts import Caution

from .model import Catch
from .tolerances import AVERAGE_SHARE, BAND_SLACK, DISAGREEMENT, OTHER_AVERAGE_SHARE, RATING_SHARE
from .volume import SOURCES, nozzle_flow

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.jobs.settings import NozzleSettings


def caught(flows_l_min: Sequence[float], nozzles: NozzleSettings | None) -> Catch:
    """Judge a nozzle catch [L/min], nozzles numbered from 1 at the left.

    Named are nozzles more than 10 % off the maker's rating at the spraying pressure, or more than 5 %
    off the boom's average (R. N. Klein, Univ. Nebraska-Lincoln; Alberta Agdex 606-1), and, by the other
    published rule, more than 10 % off the average (Florida exam preparation, p. 213).
    """
    mean = sum(flows_l_min) / len(flows_l_min)
    rating = None
    if nozzles is not None:
        rating = nozzle_flow(nozzles.flow_l_min, nozzles.at_bar, nozzles.pressure_bar or nozzles.at_bar)

    def off(middle: float, share: float) -> tuple[int, ...]:
        least, most = middle * (1 - share - 1e-9), middle * (1 + share + 1e-9)
        return tuple(number for number, flow in enumerate(flows_l_min, 1) if not least <= flow <= most)

    return Catch(
        flows_l_min=tuple(flows_l_min),
        mean_l_min=mean,
        spread=(max(flows_l_min) - min(flows_l_min)) / mean,
        rating_l_min=rating,
        off_rating=() if rating is None else off(rating, RATING_SHARE),
        off_average=off(mean, AVERAGE_SHARE),
        far_off_average=off(mean, OTHER_AVERAGE_SHARE),
    )


def disagreements(by_source: Mapping[str, float], source: str | None) -> tuple[Caution, ...]:
    """One caution for each source of the volume that is more than 5 % off the one used.

    Parameters
    ----------
    by_source : mapping of str to float
        Volume by each source that is present ("catch" too). [L]
    source : str or None
        The source behind every rate.

    Returns
    -------
    tuple of Caution
        Its ``apart`` is the share by which ``other`` gives more than ``source``. [1]
    """
    if source is None or not by_source.get(source):
        return ()
    used = by_source[source]
    others = {other: by_source[other] / used - 1 for other in (*SOURCES, "catch") if other in by_source}
    return tuple(
        Caution("sources disagree", source=source, other=other, apart=apart)
        for other, apart in others.items()
        if other != source and abs(apart) > DISAGREEMENT + BAND_SLACK
    )
