"""What is found about accuracy: frozen dataclasses, no algorithms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from coverage_audit.jobs.settings import GUIDED, GUIDED_OTHER, HAND, UNKNOWN

if TYPE_CHECKING:
    from collections.abc import Mapping

    from coverage_audit.arrays import FloatArray, IntArray

    from .standing import Spread

CLASSICAL, BERKSON = "classical", "berkson"
"""Regimes: the log is truth plus error; truth is the log plus error (Carroll et al. 2006, ch. 1)."""


REGIMES = {HAND: (CLASSICAL,), GUIDED_OTHER: (CLASSICAL,), GUIDED: (BERKSON,), UNKNOWN: (CLASSICAL, BERKSON)}
"""The regimes that a way of steering leaves possible."""


@dataclass(frozen=True, eq=False)
class ErrorModel:
    """Receiver's error at each used fix; arrays of shape (n,).

    Each coordinate errs by ``sigma_m`` times a first-order Gauss-Markov process of unit variance
    and ``time_constant_s``, by a short part of ``short_m`` that is forgotten within seconds, and by white
    noise of ``noise_m``. ``boundary_m``: the boundary's error, one shift for the whole. ``source`` says
    where the figures come from; ``stated``: the log or the job file says how good the positions are.
    ``sigma_log_sd``, ``time_log_sd``: by which factor e^this scale and time constant may be off. Errors [m],
    times [s].
    """

    time_s: FloatArray
    sigma_m: FloatArray
    noise_m: float
    time_constant_s: float
    boundary_m: float
    fix_class: str
    source: str
    stated: bool = True
    short_m: float = 0.0
    sigma_log_sd: float = 0.0
    time_log_sd: float = 0.0

    @property
    def none(self) -> bool:
        """Whether nothing errs at all."""
        return not self.sigma_m.any() and self.noise_m == self.short_m == self.boundary_m == 0


@dataclass(frozen=True, eq=False)
class Gaps:
    """Measured gaps from an edge of swept ground to the edge it should meet; negative = overlap.

    Arrays of shape (n,), ``normal`` (n, 2). ``kind`` 0 between neighbouring passes, 1 to the
    field edge, 2 ahead of a switched boom. ``own``: the edge measured from, ``other``: the edge
    met (NaN for the field edge). ``*_lean``: how a shift to the right moves that edge along
    ``normal``; 0 when it does not. ``*_travel_m`` along the whole job; ``*_stretch`` its stretch.
    Gaps and travel [m], times [s since 1970 UTC], leans [1].
    """

    gap_m: FloatArray
    normal: FloatArray
    kind: IntArray
    own_s: FloatArray
    other_s: FloatArray
    own_travel_m: FloatArray
    other_travel_m: FloatArray
    own_lean: FloatArray
    other_lean: FloatArray
    own_stretch: IntArray
    other_stretch: IntArray

    def __len__(self) -> int:
        return len(self.gap_m)


@dataclass(frozen=True)
class Figure:
    """An area as observed, as estimated, and the 5 % and 95 % quantiles of the truth. [m2]

    ``estimate`` is None when the regime is not known. ``told``: the range is narrow enough.
    """

    observed: float
    estimate: float | None
    low90: float
    high90: float
    told: bool


CONTRADICTED, WRONG_FIX = "contradicted", "wrong fix"
"""Doubts: the log does not bear out the error stated; fixes marked RTK fixed wander as wrong ones do."""


@dataclass(frozen=True)
class Learnt:
    """The receiver's slow error as far as the log tells: scale of one coordinate [m], time constant [s]."""

    sigma_m: Spread
    time_constant_s: Spread
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True)
class RegimeResult:
    """What one regime says; see :class:`Accuracy`. Areas [m2], skips [m], chances [1]."""

    missed_m2: Figure
    double_m2: Figure
    covered_m2: Figure
    probability: tuple[float, ...]
    smallest_detectable_skip_m: float | None
    learnt: Learnt | None = None


@dataclass(frozen=True, eq=False)
class Accuracy:
    """How sure the figures of an audit are.

    ``regime`` is "classical", "berkson" or "unknown". ``smallest_detectable_skip_m`` None = no
    skip narrower than the boom could be told. ``probability``: of each missed strip, in order. ``antenna_ahead_m``,
    ``antenna_right_m``: how far ahead of the boom and right of its middle the antenna was drawn; None where stated.
    Areas [m2], skips [m], chances [1].
    """

    regime: str
    missed_m2: Figure
    double_m2: Figure
    covered_m2: Figure
    by_regime: Mapping[str, RegimeResult]
    probability: tuple[float, ...]
    smallest_detectable_skip_m: float | None
    replicates: int
    steering: str
    error: ErrorModel
    asked: bool = True
    antenna_ahead_m: Spread | None = None
    antenna_right_m: Spread | None = None

    @property
    def placed(self) -> bool:
        """Whether the antenna was drawn at several places."""
        return self.antenna_ahead_m is not None or self.antenna_right_m is not None

    @property
    def doubts(self) -> tuple[str, ...]:
        """What the log holds against the error that was taken, by any regime."""
        return tuple(sorted({doubt for one in self.by_regime.values() if one.learnt for doubt in one.learnt.doubts}))
