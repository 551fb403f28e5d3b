"""What single nozzles let out, and whether the sources of the job's volume agree."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .model import Catch
from .tolerances import AVERAGE_SHARE, BAND_SLACK, DISAGREEMENT, OTHER_AVERAGE_SHARE, RATING_SHARE
from .volume import SOURCES, nozzle_flow

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from coverage_audit.jobs.settings import NozzleSettings

MEASURED = ("logged flow", "applied", "catch")
"""Sources that measure what left the nozzles or the tank; the others compute it."""

SOURCE_WORDS = {
    "logged flow": "the flow meter in the log",
    "logged pressure": "the logged pressure with the nozzle flow",
    "nozzles": "the nozzles at their pressure",
    "flow": "the boom flow typed in",
    "applied": "the volume that left the tank",
    "catch": "the nozzle catch",
}


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


def disagreements(by_source: Mapping[str, float], source: str | None) -> tuple[str, ...]:
    """One sentence for each source of the volume that is more than 5 % off the one used.

    Parameters
    ----------
    by_source : mapping of str to float
        Volume by each source that is present ("catch" too). [L]
    source : str or None
        The source behind every rate.
    """
    if source is None or not by_source.get(source):
        return ()
    used = by_source[source]
    sentences = []
    for other in (*SOURCES, "catch"):
        if other == source or other not in by_source:
            continue
        apart = by_source[other] / used - 1
        if abs(apart) > DISAGREEMENT + BAND_SLACK:
            more = "more" if apart > 0 else "less"
            told = f"{SOURCE_WORDS[other]} gives {100 * abs(apart):.1f} % {more} than {SOURCE_WORDS[source]}"
            sentences.append(
                f"Sources of the volume disagree: {told}, on which every rate here rests. {_why(source, other, apart)}"
            )
    return tuple(sentences)


def _why(source: str, other: str, apart: float) -> str:
    """What usually explains that *other* is so far off *source* (common practice, no source)."""
    measured = [name for name in (source, other) if name in MEASURED]
    if len(measured) != 1:
        if measured:
            return "Usual reasons: a meter's setting, a tank gauge read on a slope, or mix left in tank and hoses."
        return "Usual reasons: a pressure gauge that is off, another nozzle size than stated, or a slip in typing."
    more_measured = (apart > 0) == (other == measured[0])
    if more_measured:
        return (
            "More measured than computed usually means worn nozzles, a pressure higher than stated, a leak, or a meter "
            "that is not calibrated: catch the nozzles."
        )
    return (
        "Less measured than computed usually means partly plugged nozzles or strainers, a pressure lower than stated "
        "at the boom, closed sections, or a meter that is not calibrated: catch the nozzles."
    )
