"""Asking a time-stamp service (RFC 3161, section 3.4): the command uses a network here alone, and only when asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

LONGEST_WAIT_S = 30.0
"""A service answers within a second or two. [s]"""

LARGEST_ANSWER = 100_000
"""An answer with its certificates has 4 000 to 10 000 bytes. [bytes]"""


def asker(address: str | None) -> Callable[[bytes], bytes] | None:
    """What sends a request to the service at *address* and gives its answer; None when none was named.

    Raises
    ------
    InputError
        It is no address; later: the service does not answer.
    """
    if address is None:
        return None
    if not address.startswith(("http://", "https://")):
        raise InputError(f'"{address}" is not the address of a time-stamp service; it begins with https://', "--stamp")

    def ask(request: bytes) -> bytes:
        kinds = {"Content-Type": "application/timestamp-query", "Accept": "application/timestamp-reply"}
        import urllib.request  # noqa: PLC0415 - no check pays for what a stamp needs

        class NoMoves(urllib.request.HTTPRedirectHandler):
            """A service that was named is asked, and no other."""

            def redirect_request(self, *_given: object) -> None:
                """Follow nowhere."""

        try:
            asked = urllib.request.Request(address, request, kinds, method="POST")  # noqa: S310 - http or https
            with urllib.request.build_opener(NoMoves).open(asked, timeout=LONGEST_WAIT_S) as answer:
                found: bytes = answer.read(LARGEST_ANSWER + 1)
        except (OSError, ValueError) as error:
            raise InputError(f"the time-stamp service does not answer ({error}); try later, or leave --stamp out",
                             "--stamp") from error  # fmt: skip
        if len(found) > LARGEST_ANSWER:
            raise InputError("the time-stamp service's answer is too long; name another service", "--stamp")
        return found

    return ask
