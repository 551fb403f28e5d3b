"""The server: one socket on 127.0.0.1, the guard, the page; it ends when asked, and after a long quiet."""

from __future__ import annotations

import asyncio
import socket
import time
from contextlib import closing, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

import uvicorn

from coverage_audit.errors import InputError

from .app import Page
from .desk import Desk
from .guard import HOST, Guard, Keys
from .tolerances import LOOK_S, MOST_WAITING, QUIET_S
from .work import Work

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True)
class Door:
    """An open socket and the secrets of this run; ``address`` is told to the person alone."""

    socket: socket.socket
    keys: Keys

    @property
    def address(self) -> str:
        """The first address, good once."""
        return self.keys.address


def open_door() -> Door:
    """Listen on a free port of 127.0.0.1 and of nothing else.

    Raises
    ------
    InputError
        The system allows no socket.
    """
    try:
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listening.bind((HOST, 0))
        listening.listen()
    except OSError as error:
        raise InputError(f"no page can be served on this computer ({error.strerror})", HOST) from error
    return Door(listening, Keys(listening.getsockname()[1]))


def serve(door: Door, farm: Path) -> None:
    """Serve the page of *farm* until it is ended, interrupted or quiet for long."""
    quiet = _Quiet()
    work = Work()
    ended = asyncio.Event()
    guard = Guard(Page(Desk(farm), work, ended.set).router(), door.keys, quiet.alive)
    config = uvicorn.Config(
        guard,
        loop="asyncio",
        http="h11",
        ws="none",
        lifespan="off",
        interface="asgi3",
        log_config=None,
        access_log=False,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        limit_concurrency=MOST_WAITING,
        timeout_graceful_shutdown=1,
    )
    with closing(door.socket):
        try:
            asyncio.run(_until_ended(uvicorn.Server(config), door, _Ends(ended, quiet, work)))
        finally:
            work.close()


@dataclass(frozen=True)
class _Ends:
    """What ends the server: somebody asked for it, or it was quiet for long and nothing is being worked on."""

    asked: asyncio.Event
    quiet: _Quiet
    work: Work

    async def come(self) -> None:
        """Wait for the end."""
        while not (self.quiet.for_s > QUIET_S and not self.work.is_working):
            with suppress(TimeoutError):
                await asyncio.wait_for(self.asked.wait(), LOOK_S)
                return


async def _until_ended(server: uvicorn.Server, door: Door, ends: _Ends) -> None:
    async def watch() -> None:
        await ends.come()
        server.should_exit = True

    watching = asyncio.create_task(watch())
    try:
        await server.serve(sockets=[door.socket])
    finally:
        watching.cancel()


class _Quiet:
    """How long nobody has asked for anything."""

    def __init__(self) -> None:
        self._since = time.monotonic()

    def alive(self) -> None:
        """Somebody asked for something."""
        self._since = time.monotonic()

    @property
    def for_s(self) -> float:
        """Time since the last request. [s]"""
        return time.monotonic() - self._since
