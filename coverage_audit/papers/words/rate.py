"""Words about volume and tank: why no rate is known, and where refills come from."""

from __future__ import annotations

from coverage_audit.rate.model import BY_STOPS, NO_STOP, ONE_LOAD, TYPED_IN

NO_VOLUME = "no flow, nozzles or applied volume is given, so no rate could be computed"

REFILLS = {
    TYPED_IN: "typed in",
    BY_STOPS: "taken from long stops with the boom off",
    NO_STOP: "no long stop was found",
    ONE_LOAD: "one load",
}
"""Where the refills of a tank come from."""
