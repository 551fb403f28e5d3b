"""Answers that several routes give: words of what went wrong, papers, and that there is nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from coverage_audit.errors import InputError
from coverage_audit.papers import screens
from coverage_audit.read.source import read_bytes

from .desk import ChangedError

if TYPE_CHECKING:
    from collections.abc import Awaitable
    from pathlib import Path

    from starlette.types import Receive, Scope, Send

PAPER_POLICY = (
    "sandbox allow-scripts allow-popups allow-downloads; default-src 'none'; script-src 'unsafe-inline'; "
    "style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'"
)
"""A report carries its own scripts: it is shown as a page of no origin, which reaches nothing of this one."""

KINDS = {
    "html": "text/html; charset=utf-8",
    "json": "application/json",
    "geojson": "application/geo+json",
    "gpx": "application/gpx+xml",
    "pdf": "application/pdf",
    "csv": "text/csv; charset=utf-8",
    "jpg": "image/jpeg",
}
CHANGED = (
    "This job was changed in another window or by another program. What stands here now is what was saved there; "
    "look at it, and enter your last change again if it is still right."
)


async def served(request: Request, path: Path | None, *, saved: bool) -> Response:
    """Answer with a file of ours, to look at or to save."""
    if path is None:
        return await nothing(request)
    try:
        data = (await run_in_threadpool(read_bytes, path)).data
    except InputError as error:
        return HTMLResponse(screens.gone_html("", str(error)), 404)
    kind = KINDS.get(path.suffix[1:], "application/octet-stream")
    headers = {"content-security-policy": PAPER_POLICY}
    if saved or not kind.startswith(("text/html", "image/")):
        headers["content-disposition"] = f'attachment; filename="{path.name}"'
    return Response(data, media_type=kind, headers=headers)


async def told(work: Awaitable[Any]) -> Response:
    """What came of it, or in words why not."""
    try:
        return JSONResponse(await work)
    except ChangedError:
        return JSONResponse({"changed": CHANGED}, 409)
    except InputError as error:
        return JSONResponse({"fault": error.what, "place": error.place}, 422)


async def nothing(_request: Request) -> Response:
    """Say that there is no such page."""
    return HTMLResponse(screens.gone_html("", "There is no such page."), 404)


async def unknown(scope: Scope, receive: Receive, send: Send) -> None:
    """Say so to whoever asks for an address that no route has."""
    await (await nothing(Request(scope)))(scope, receive, send)
