"""The errors that this package raises on purpose."""

LINE_ENDS = dict.fromkeys(map(ord, "\n\r\v\f\x1c\x1d\x1e\x85\u2028\u2029"), "\ufffd")
"""What a message quotes of a file begins no line of its own; papers show other such letters in this way, too."""


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
        self.what = what.translate(LINE_ENDS)
        self.place = place.translate(LINE_ENDS)
        super().__init__(f"{self.place}: {self.what}" if place else self.what)


class TooFineError(CoverageAuditError):
    """Cells this small would take more memory or time than allowed: a coarser size is to be tried."""
