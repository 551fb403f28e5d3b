"""The page's server without a socket: requests in bytes straight to its guard."""

from __future__ import annotations

import asyncio
import json
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from urllib.parse import quote

from coverage_audit.page.app import Page
from coverage_audit.page.desk import Desk
from coverage_audit.page.guard import Guard, Keys
from coverage_audit.page.work import Work

PORT = 47111


@dataclass
class Answer:
    """What came back."""

    status: int = 0
    headers: dict = field(default_factory=dict)
    body: bytes = b""
    closed: int = 0


def ask(guard, method="GET", path=b"/", *, headers=(), body=(b"",), query=b"", wait=None):
    """One request straight to the guard, in bytes that no client library would let through."""
    answer, parts = Answer(), list(body)

    async def receive():
        if wait is not None:
            await asyncio.sleep(wait)
        if not parts:
            return {"type": "http.disconnect"}
        part = parts.pop(0)
        return {"type": "http.request", "body": part, "more_body": bool(parts)}

    async def send(message):
        if message["type"] == "http.response.start":
            answer.status = message["status"]
            answer.headers = dict(message["headers"])
        else:
            answer.body += message.get("body", b"")

    scope = {
        "type": "http",
        "method": method,
        "path": path.decode("utf-8", "replace"),
        "raw_path": path,
        "query_string": query,
        "headers": list(headers),
    }
    asyncio.run(guard(scope, receive, send))
    return answer


@dataclass
class House:
    """A farm folder behind a guard."""

    guard: Guard
    keys: Keys
    root: object

    work: Work

    def cookie(self):
        """The cookie of this run, as a header."""
        return (b"cookie", f"{self.keys.cookie_name}={self.keys.cookie}".encode())

    def own(self, **changes):
        """Headers of a request that the page itself would send to change something; None leaves one out."""
        pairs = {
            "host": self.keys.host,
            "cookie": self.cookie()[1].decode(),
            "origin": self.keys.origin,
            "x-coverage-audit": "page",
            "content-type": "application/json",
            "sec-fetch-site": "same-origin",
        } | {name.replace("_", "-"): value for name, value in changes.items()}
        return [(name.encode(), value.encode()) for name, value in pairs.items() if value is not None]

    def post(self, path, **words):
        """What the page's script hears when it sends *words*."""
        answer = ask(self.guard, "POST", path.encode(), headers=self.own(), body=(json.dumps(words).encode(),))
        return json.loads(answer.body) | {"status": answer.status}

    def send(self, path, data, name, query=b""):
        """What it hears when it sends a file."""
        headers = self.own(content_type="application/octet-stream", x_file_name=quote(name))
        answer = ask(self.guard, "POST", path.encode(), headers=headers, body=(data,), query=query)
        return json.loads(answer.body) | {"status": answer.status}

    def get(self, path):
        """An answer to GET."""
        return ask(self.guard, path=path.encode(), headers=self.own())

    def facts(self, job):
        """The work on a job once it is no longer being worked on."""
        while self.work.facts(job).is_working:
            time.sleep(0.01)
        return self.work.facts(job)


@contextmanager
def open_house(root, *, made=True):
    """A farm folder behind a guard, as the page serves it, without a socket."""
    desk, keys, work = Desk(root), Keys(PORT), Work()
    if made:
        desk.make("Larch Hollow", "us", "America/Boise")
    yield House(Guard(Page(desk, work, lambda: None).router(), keys, lambda: None), keys, root, work)
    work.close()
