"""The server itself: where it listens, what a bare socket gets, and when it ends."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from coverage_audit.cli import command as cli
from coverage_audit.cli import page as page_command
from coverage_audit.page import server as serving
from coverage_audit.page.work import Work


@pytest.fixture
def program(tmp_path):
    command = [sys.executable, "-m", "coverage_audit", "page", str(tmp_path / "farm"), "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        yield running, running.stdout.readline().strip()
        if running.poll() is None:
            running.kill()


def port_of(address):
    return int(address.removeprefix("http://127.0.0.1:").split("/")[0])


def said(port, text):
    """What a bare socket gets for *text*, up to the head's end."""
    with socket.create_connection(("127.0.0.1", port), timeout=30) as bare:
        bare.sendall(text.encode())
        return bare.recv(4096).decode("latin-1")


def test_it_prints_one_line_and_ends_well_when_interrupted(program):
    running, address = program
    assert address.startswith("http://127.0.0.1:")
    assert said(
        port_of(address), f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port_of(address)}\r\nConnection: close\r\n\r\n"
    )  # it serves by now
    running.send_signal(signal.SIGINT)
    rest, complaints = running.communicate(timeout=60)
    assert (rest, complaints, running.returncode) == ("", "", 0)


def test_a_bare_socket_gets_no_page_no_websocket_and_no_endless_body(program):
    _, address = program
    port = port_of(address)
    host = f"Host: 127.0.0.1:{port}\r\n"
    upgrade = (
        f"{host}Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: eA==\r\nSec-WebSocket-Version: 13\r\n"
    )
    assert said(port, f"GET / HTTP/1.1\r\n{upgrade}\r\n").startswith("HTTP/1.1 403")
    assert said(port, "GET / HTTP/1.1\r\nHost: attacker.test\r\n\r\n").startswith("HTTP/1.1 421")
    assert said(port, "GET / HTTP/1.0\r\n\r\n").startswith("HTTP/1.1 421")
    assert said(port, f"POST /upload HTTP/1.1\r\n{host}Content-Length: 10737418240\r\n\r\n").startswith("HTTP/1.1 403")
    assert said(port, f"GET /%2e%2e/farm.toml HTTP/1.1\r\n{host}\r\n").startswith("HTTP/1.1 404")
    assert said(port, "rubbish\r\n\r\n").startswith("HTTP/1.1 400")


def test_it_listens_on_this_computer_alone():
    door = serving.open_door()
    try:
        assert door.socket.getsockname()[0] == "127.0.0.1"
        others = {one[4][0] for one in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)} - {"127.0.0.1"}
        for other in others:
            with pytest.raises(OSError):
                socket.create_connection((other, door.keys.port), timeout=2).close()
    finally:
        door.socket.close()


def test_two_runs_have_other_ports_tokens_and_cookies():
    doors = [serving.open_door() for _ in range(2)]
    try:
        keys = [door.keys for door in doors]
        for values in ({one.port for one in keys}, {one.token for one in keys}, {one.cookie for one in keys}):
            assert len(values) == 2
        assert len({one.cookie_name for one in keys}) == 2
    finally:
        for door in doors:
            door.socket.close()


def ended(quiet_s, *, asked=False, working=False, monkeypatch):
    """Whether the end comes at once."""
    monkeypatch.setattr(serving, "QUIET_S", 100.0)
    monkeypatch.setattr(serving, "LOOK_S", 0.001)
    quiet, work, event = serving._Quiet(), Work(), asyncio.Event()  # noqa: SLF001 - the clock is set here
    quiet._since -= quiet_s  # noqa: SLF001 - the same
    if working:
        work._set("job", stage="sure")  # noqa: SLF001 - the same

    async def come():
        if asked:
            event.set()
        await asyncio.wait_for(serving._Ends(event, quiet, work).come(), 0.2)  # noqa: SLF001 - the same

    try:
        asyncio.run(come())
    except TimeoutError:
        return False
    return True


@pytest.mark.parametrize(
    ("quiet_s", "asked", "working", "ends"),
    [(0, False, False, False), (200, False, False, True), (200, False, True, False), (0, True, True, True)],
)
def test_it_ends_when_asked_or_after_a_long_quiet_without_work(quiet_s, asked, working, ends, monkeypatch):
    assert ended(quiet_s, asked=asked, working=working, monkeypatch=monkeypatch) == ends


@pytest.mark.parametrize(("kept", "screen", "opens"), [(False, True, True), (False, False, False), (True, True, False)])
def test_a_double_click_on_a_desktop_opens_the_page_and_a_script_does_not(kept, screen, opens, tmp_path):
    """A desktop starts a program without a terminal: its input is nobody's, and nobody reads what it says."""
    shown, browser = tmp_path / "shown", tmp_path / "browser.py"
    browser.write_text(f"import sys; open({str(shown)!r}, 'w').write(sys.argv[1])")
    wishes = {"HOME": str(tmp_path), "BROWSER": f"{sys.executable} {browser} %s", "DISPLAY": ":9" if screen else ""}
    environment = {**os.environ, **wishes, "WAYLAND_DISPLAY": ""}
    end = tmp_path / "kept.txt" if kept else Path(os.devnull)
    with (
        Path(os.devnull).open("rb") as nobody,
        end.open("wb") as hears,
        subprocess.Popen(
            [sys.executable, "-m", "coverage_audit"], stdin=nobody, stdout=hears, stderr=hears, env=environment
        ) as running,
    ):
        while running.poll() is None and not (shown.exists() and shown.read_text()):
            time.sleep(0.05)
        running.kill()
    assert shown.exists() == opens
    assert not opens or shown.read_text().startswith("http://127.0.0.1:")
    assert opens or running.returncode == 2


class Terminal:
    """Standard input as a person has it, or a script."""

    def __init__(self, *, there):
        self.there = there

    def isatty(self):
        """Whether a person sits there."""
        return self.there


def test_alone_at_a_terminal_the_command_opens_the_page_and_says_where_help_is(monkeypatch, capsys):
    opened = []
    monkeypatch.setattr(page_command, "page_command", opened.append)
    monkeypatch.setattr(sys, "stdin", Terminal(there=True))
    monkeypatch.setattr(sys, "argv", ["coverage-audit"])
    assert cli.main() == 0
    assert (len(opened), opened[0].no_browser) == (1, False)
    assert "coverage-audit --help" in capsys.readouterr().err


@pytest.mark.parametrize("stdin", [Terminal(there=False), None])
def test_alone_in_a_script_it_says_what_to_do(stdin, monkeypatch, capsys):
    monkeypatch.setattr(sys, "stdin", stdin)
    monkeypatch.setattr(sys, "argv", ["coverage-audit"])
    assert cli.main() == 2
    assert "say what to do: page" in capsys.readouterr().err
