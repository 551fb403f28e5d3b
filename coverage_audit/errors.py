"""The errors that this package raises on purpose."""


class CoverageAuditError(Exception):
    """Base of every error that this package raises on purpose."""


class InputError(CoverageAuditError):
    """The input is at fault: the message names the file, the place, what is wrong and what to do.

    Parameters
    ----------
    what : str
        One sentence: what is wrong and, after it, what to do about it.
    place : str
        File (and line, point or time in it) or job-file key the fault was found at.
    """

    def __init__(self, what: str, place: str = "") -> None:
        self.what = what
        self.place = place
        super().__init__(f"{place}: {what}" if place else what)


class TooFineError(CoverageAuditError):
    """Cells this small would take more memory or time than allowed: a coarser size is to be tried."""
