"""What the job file says for a coverage proof: frozen dataclasses, no algorithms."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ProofSettings:
    """[proof] of the job file: names and statements typed by the seller; "" = not stated.

    ``hay_leaving_farm``, ``feeding`` and ``manure_compost`` are what the label says of them, in the seller's
    words. ``applicator``, ``certificate`` and ``location`` are fields of an application record.
    ``max_bridged``: share of the target that may rest on bridged gaps of the log.
    """

    field_name: str = ""
    crop_name: str = ""
    hay_leaving_farm: str = ""
    feeding: str = ""
    manure_compost: str = ""
    applicator: str = ""
    certificate: str = ""
    location: str = ""
    max_bridged: float = 0.01
