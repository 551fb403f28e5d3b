"""What is on the ground after a spray job: covered, missed, double-sprayed, and at what rate.

>>> from coverage_audit.jobs.read import read_job
>>> from coverage_audit.recipe.audit import audit_job
>>> audit = audit_job(read_job("job.toml"))  # doctest: +SKIP
>>> audit.area_m2.missed  # doctest: +SKIP
100.0

Functions are imported from their rooms, as above: a function offered here under the name of
its room (``read_job``) would hide the room.
"""

from .errors import CoverageAuditError, InputError

__version__ = "0.1.0"
__all__ = ["CoverageAuditError", "InputError", "__version__"]
