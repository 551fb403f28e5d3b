"""What is on the ground after a spray job: covered, missed, double-sprayed, and at what rate.

>>> import coverage_audit as ca
>>> audit = ca.audit(ca.read_job("job.toml"))
>>> round(audit.areas["missed"])  # m2
100
>>> audit.missed["mean_width_m"].round(2).tolist()  # of a GeoDataFrame in EPSG:4326
[1.0]
>>> papers = ca.write(audit, "report")  # those of the command check

A job may also come from what is in memory already. ``fixes`` are points with their times and ``field`` a polygon, as
GeoDataFrames, ``on_off`` the times when the boom was on; see :func:`coverage_audit.job`:

>>> job = ca.job(fixes, field=field, boom=on_off, width="10 m", antenna_ahead="0 m")
>>> round(ca.audit(job).areas["missed"])
100

Nothing heavy is imported before one of these is used.
"""

from importlib import import_module
from typing import TYPE_CHECKING

from .errors import CoverageAuditError, InputError

if TYPE_CHECKING:
    from .face.audits import Audited, audit, plan_touchup, read_job, write
    from .face.comparisons import Compared, compare
    from .face.given import job

__version__ = "0.1.0"
__all__ = [
    "Audited",
    "Compared",
    "CoverageAuditError",
    "InputError",
    "__version__",
    "audit",
    "compare",
    "job",
    "plan_touchup",
    "read_job",
    "write",
]

_ROOMS = {
    **dict.fromkeys(("Audited", "audit", "plan_touchup", "read_job", "write"), "audits"),
    **dict.fromkeys(("Compared", "compare"), "comparisons"),
    "job": "given",
}


def __getattr__(name: str) -> object:
    """Fetch a name of the face when it is first used."""
    if name not in _ROOMS:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f".face.{_ROOMS[name]}", __name__), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
