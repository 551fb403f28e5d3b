"""The one guard before every route: nobody but this run's own page gets through, whatever kind of connection it is.

A server on 127.0.0.1 can be reached by every program of this computer and by every web site that its browser shows.
Host is compared exactly, which stops names that were bound anew to 127.0.0.1; the cookie is given once, for the token
that the person's terminal showed; and whatever changes anything must come from the page's own origin with a header
that no form and no foreign script can set. Refusals tell nothing and are not counted as signs of life.
"""

from __future__ import annotations

import asyncio
import hmac
import re
import secrets
import time
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING

from markupsafe import escape

from .tolerances import LONGEST_BODY_S, MAX_FILE_BODY_BYTES, MAX_WORDS_BODY_BYTES, SLOW_BODY_S

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from starlette.types import ASGIApp, Message, Receive, Scope, Send

HOST = "127.0.0.1"
OWN_HEADER, OWN_VALUE = b"x-coverage-audit", b"page"
"""A header that only a script of the page's own origin can set (Fetch standard: others need a preflight)."""

FILE_TYPE, WORDS_TYPE = b"application/octet-stream", b"application/json"
ENTRANCE = "/enter/"
_PATH = re.compile(rb"/[a-z0-9/_-]*(\.[a-z0-9]+)?")
"""Every address of the page: small letters, digits, dashes, and one ending; no percent sign, dots or backslashes."""

_QUERY = re.compile(rb"[a-z0-9=&.-]{0,200}")

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'none'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS: tuple[tuple[bytes, bytes], ...] = (
    (b"cache-control", b"no-store"),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"geolocation=(), camera=(), microphone=()"),
)


@dataclass
class Keys:
    """The secrets of one run: the token of the first address, good once, and what the cookie then holds."""

    port: int
    token: str = field(default_factory=lambda: secrets.token_hex(32))
    cookie: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    used: bool = False

    @property
    def host(self) -> str:
        """The one Host that is answered."""
        return f"{HOST}:{self.port}"

    @property
    def origin(self) -> str:
        """The one Origin that may change anything."""
        return f"http://{self.host}"

    @property
    def cookie_name(self) -> str:
        """Cookies know no port, so the name does: two runs do not throw each other out."""
        return f"coverage-audit-{self.port}"

    @property
    def address(self) -> str:
        """The first address, with its token."""
        return f"{self.origin}{ENTRANCE}{self.token}"


class RefusedError(Exception):
    """A request that is not let through; ``status`` as HTTP numbers it, ``why`` in words."""

    def __init__(self, status: int, why: str) -> None:
        self.status = status
        self.why = why
        super().__init__(why)


class Guard:
    """Pure ASGI: everything passes here first, and what is not known is refused."""

    def __init__(self, app: ASGIApp, keys: Keys, alive: Callable[[], None]) -> None:
        self.app = app
        self.keys = keys
        self.alive = alive

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let one connection through, or refuse it."""
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
            return
        if scope["type"] != "http":
            raise RuntimeError(f"no connection of kind {scope['type']} is known")
        begun = _Begun(send)
        try:
            await self._through(scope, receive, begun)
        except RefusedError as refused:
            if begun.started:  # too late for words: the connection is cut by the server
                raise
            await _say(begun, refused.status, refused.why)
        except Exception as error:
            if begun.started:
                raise
            told = f"a fault of this program, not of what you gave it ({type(error).__name__}: {error})"
            await _say(begun, 500, str(escape(told)))

    async def _through(self, scope: Scope, receive: Receive, begun: _Begun) -> None:
        headers = _Headers(scope)
        self.host(headers)
        self.method(scope)
        self.path(scope)
        self.site(headers)
        if scope["path"].startswith(ENTRANCE):
            self.token(scope)
            await _welcome(begun, self.keys)
            return
        self.cookie(headers)
        limit = 0
        if scope["method"] == "POST":
            self.origin(headers)
            self.own_header(headers)
            limit = self.kind(headers)
        self.alive()
        await self.app(scope, self.body(receive, headers, limit), begun)

    # --- one check each -------------------------------------------------------------------------

    def host(self, headers: _Headers) -> None:
        """Exactly the address of this run: a name that was bound anew to 127.0.0.1 is another host."""
        if not hmac.compare_digest(headers.one(b"host"), self.keys.host.encode()):
            raise RefusedError(421, "this is not the address of this program")

    def method(self, scope: Scope) -> None:
        """GET and POST, and nothing else."""
        if scope["method"] not in ("GET", "POST"):
            raise RefusedError(405, "only GET and POST are known here")

    def path(self, scope: Scope) -> None:
        """An address as the page makes them, before anything was decoded."""
        raw = scope.get("raw_path") or scope["path"].encode("utf-8", "replace")
        if not _PATH.fullmatch(raw) or not _QUERY.fullmatch(scope["query_string"]) or b"//" in raw:
            raise RefusedError(404, "there is no such page")

    def site(self, headers: _Headers) -> None:
        """No other web site; browsers say who asks (Fetch Metadata, W3C)."""
        if headers.one(b"sec-fetch-site", b"none") not in (b"none", b"same-origin"):
            raise RefusedError(403, "another web site asked for this")

    def token(self, scope: Scope) -> None:
        """The token of the first address, once."""
        given = scope["path"].removeprefix(ENTRANCE)
        right = hmac.compare_digest(given.encode(), self.keys.token.encode())
        if scope["method"] != "GET" or not right or self.keys.used:
            raise RefusedError(
                403, "this address was used already, or is from an earlier run; start coverage-audit page again"
            )
        self.keys.used = True

    def cookie(self, headers: _Headers) -> None:
        """The cookie of this run."""
        try:
            held = SimpleCookie(headers.joined(b"cookie").decode("latin-1"))
        except CookieError:
            held = SimpleCookie()
        mine = held.get(self.keys.cookie_name)
        if mine is None or not hmac.compare_digest(mine.value.encode(), self.keys.cookie.encode()):
            raise RefusedError(
                403, "this page belongs to whoever started it; open the address that coverage-audit page printed"
            )

    def origin(self, headers: _Headers) -> None:
        """What changes anything comes from a page of this run."""
        if headers.one(b"origin") != self.keys.origin.encode():
            raise RefusedError(403, "only the page itself may change anything")

    def own_header(self, headers: _Headers) -> None:
        """... and from its script: no form and no script of another origin can set this header."""
        if headers.one(OWN_HEADER) != OWN_VALUE:
            raise RefusedError(403, "only the page itself may change anything")

    def kind(self, headers: _Headers) -> int:
        """The most bytes that a body of this kind may have."""
        limits = {FILE_TYPE: MAX_FILE_BODY_BYTES, WORDS_TYPE: MAX_WORDS_BODY_BYTES}
        kind = headers.one(b"content-type")
        if kind not in limits:
            raise RefusedError(415, "what was sent is of no kind that is read here")
        return limits[kind]

    def body(self, receive: Receive, headers: _Headers, limit: int) -> Receive:
        """*receive*, until more than *limit* bytes came, or nothing for too long."""
        declared = headers.one(b"content-length", b"0")
        if not declared.isdigit() or len(declared) > 12 or int(declared) > limit:
            raise RefusedError(413, "this is larger than anything that is read here")
        return _Bounded(receive, limit)


class _Headers:
    """Headers of a request, of which one that must be there once is there once."""

    def __init__(self, scope: Scope) -> None:
        self._pairs = [(name.lower(), value) for name, value in scope["headers"]]

    def one(self, name: bytes, otherwise: bytes = b"") -> bytes:
        """The value of a header, *otherwise* without one; two of a name are refused."""
        found = [value for key, value in self._pairs if key == name]
        if len(found) > 1:
            raise RefusedError(400, "a header came twice")
        return found[0] if found else otherwise

    def joined(self, name: bytes) -> bytes:
        """All values of a header."""
        return b"; ".join(value for key, value in self._pairs if key == name)


class _Begun:
    """Sends, with the headers that every answer has, and knows whether an answer has begun."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self.started = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.started = True
            own: list[tuple[bytes, bytes]] = list(message.get("headers", ()))
            names = {name for name, _ in own}
            policy = (b"content-security-policy", POLICY.encode())
            added = [pair for pair in (*HEADERS, policy) if pair[0] not in names]
            message = {**message, "headers": [*own, *added]}
        await self._send(message)


class _Bounded:
    """A body as it comes, up to its limits of size and time."""

    def __init__(self, receive: Receive, limit: int) -> None:
        self._receive, self._limit = receive, limit
        self._bytes, self._since = 0, time.monotonic()
        self._more = limit > 0

    async def __call__(self) -> Message:
        """The next part; when the body is whole, the end of the connection."""
        if not self._more:
            return await self._receive()
        left = LONGEST_BODY_S - (time.monotonic() - self._since)
        try:
            message = await asyncio.wait_for(self._receive(), min(SLOW_BODY_S, max(left, 0.0)))
        except TimeoutError as error:
            raise RefusedError(408, "this came too slowly; try again") from error
        self._bytes += len(message.get("body", b""))
        self._more = message["type"] == "http.request" and message.get("more_body", False)
        if self._bytes > self._limit:
            raise RefusedError(413, "this is larger than anything that is read here")
        return message


async def _welcome(send: Callable[[Message], Any], keys: Keys) -> None:
    """Give the cookie and lead on to the page.

    The page is asked for by a page of its own origin: behind a redirect of another site's link a browser would not
    send a strict cookie. Leading on replaces the address with the token in the history.
    """
    cookie = f"{keys.cookie_name}={keys.cookie}; HttpOnly; SameSite=Strict; Path=/"
    text = (
        '<!doctype html><html lang="en"><meta charset="utf-8"><meta http-equiv="refresh" content="0;url=/">'
        '<link rel="icon" href="/asset/icon.svg"><title>Coverage audit</title><p><a href="/">Go on</a></p></html>'
    )
    await _answer(send, 200, text, ((b"set-cookie", cookie.encode()),))


async def _say(send: Callable[[Message], Any], status: int, why: str) -> None:
    head = '<!doctype html><html lang="en"><meta charset="utf-8"><title>Coverage audit</title>'
    text = f"{head}<p>{why[:1].upper()}{why[1:]}.</p></html>"
    await _answer(send, status, text, ((b"connection", b"close"),))


async def _answer(
    send: Callable[[Message], Any], status: int, text: str, headers: tuple[tuple[bytes, bytes], ...]
) -> None:
    body = text.encode()
    kind = (b"content-type", b"text/html; charset=utf-8")
    length = (b"content-length", str(len(body)).encode())
    await send({"type": "http.response.start", "status": status, "headers": [kind, length, *headers]})
    await send({"type": "http.response.body", "body": body})
