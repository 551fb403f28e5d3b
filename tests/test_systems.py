"""Windows, macOS and Linux alike: what only one of them has stands behind a guard, and no name is refused by one."""

from __future__ import annotations

import ast
import importlib
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "coverage_audit"
MODULES = sorted(PACKAGE.rglob("*.py"))

ONE_SYSTEM = {
    "fcntl", "grp", "nis", "ossaudiodev", "posix", "pty", "pwd", "resource", "spwd", "syslog", "termios", "tty",
    "msvcrt", "winreg", "winsound", "_winapi",
}  # fmt: skip
"""Modules of the standard library's chapters "Unix-specific services" and "MS Windows-specific services"."""

OF_OS = {
    "O_DIRECTORY", "O_NOFOLLOW", "chown", "chroot", "confstr", "ctermid", "fchmod", "fchown", "fork", "forkpty",
    "getegid", "geteuid", "getgid", "getgroups", "getloadavg", "getpgid", "getpgrp", "getpriority", "getresgid",
    "getresuid", "getsid", "getuid", "killpg", "lchown", "lockf", "major", "minor", "mkfifo", "mknod", "nice",
    "openpty", "pathconf", "posix_fadvise", "posix_fallocate", "posix_spawn", "sched_getaffinity",
    "sched_setaffinity", "sched_yield", "sendfile", "setegid", "seteuid", "setgid", "setgroups", "setpgid",
    "setpriority", "setsid", "setuid", "statvfs", "startfile", "sync", "sysconf", "tcgetpgrp", "uname", "wait",
    "wait3", "wait4", "waitid",
}  # fmt: skip
OF_SIGNAL = {
    "SIGALRM", "SIGBUS", "SIGCHLD", "SIGCONT", "SIGHUP", "SIGKILL", "SIGPIPE", "SIGQUIT", "SIGSTOP", "SIGTSTP",
    "SIGUSR1", "SIGUSR2", "alarm", "getitimer", "pause", "pthread_kill", "pthread_sigmask", "setitimer",
    "siginterrupt", "sigpending", "sigwait",
}  # fmt: skip
"""Names whose entry in the library reference of Python 3.11 says "Availability: Unix" or "Windows" (from memory)."""

OF_PATHS = {"PosixPath", "WindowsPath", "symlink_to", "hardlink_to", "owner", "group", "is_mount"}
"""Of ``pathlib``: one system's own, or what an ordinary account of Windows may not do."""


def guarded(node):
    """Whether any branch about *node* asks which system it is, or whether the system has the name."""
    while (node := getattr(node, "parent", None)) is not None:
        if isinstance(node, ast.If | ast.IfExp):
            asked = ast.unparse(node.test)
            if "sys.platform" in asked or "hasattr(os," in asked:
                return True
    return False


def of_one_system(tree):
    """Places of a module that name what only one system has, outside a guard."""
    for node in ast.walk(tree):
        for child in ast.iter_child_nodes(node):
            child.parent = node
    for node in ast.walk(tree):
        names = set()
        if isinstance(node, ast.Import):
            names = {one.name for one in node.names} & ONE_SYSTEM
        elif isinstance(node, ast.ImportFrom):
            inner = {"os": OF_OS, "signal": OF_SIGNAL, "pathlib": OF_PATHS}.get(node.module, set())
            names = ({node.module} & ONE_SYSTEM) | ({one.name for one in node.names} & inner)
        elif isinstance(node, ast.Attribute):
            owner = node.value.id if isinstance(node.value, ast.Name) else ""
            names = {node.attr} & {"os": OF_OS, "signal": OF_SIGNAL}.get(owner, OF_PATHS)
        if names and not guarded(node):
            yield f"line {node.lineno}: {sorted(names)}"


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_nothing_of_one_system_stands_outside_a_guard(path):
    assert list(of_one_system(ast.parse(path.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("import fcntl", 1),
        ("import os\nos.fork()", 1),
        ("import signal\nsignal.signal(signal.SIGHUP, None)", 1),
        ("from pathlib import PosixPath", 1),
        ("path.symlink_to(other)", 1),
        ("import sys\nif sys.platform == 'win32':\n    import msvcrt\nelse:\n    import fcntl", 0),
        ("import os\nn = len(os.sched_getaffinity(0)) if hasattr(os, 'sched_getaffinity') else 1", 0),
        ("import os\nos.replace(a, b)", 0),
    ],
)
def test_the_test_finds_what_it_looks_for(line, found):
    assert len(list(of_one_system(ast.parse(line)))) == found


def test_text_files_are_read_and_written_in_one_encoding():
    """Without its name Windows would take another one."""
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            called = node.func if isinstance(node, ast.Call) else None
            if isinstance(called, ast.Attribute) and called.attr in ("read_text", "write_text"):
                assert "encoding" in ast.unparse(node), f"{path.name}, line {node.lineno}"


def test_names_of_files_of_ours_are_names_on_every_system():
    """Reserved names and characters of Windows: Microsoft, Naming Files, Paths, and Namespaces (from memory)."""
    from coverage_audit.papers.farm_files import file_name  # noqa: PLC0415

    for wanted in ("con", "NUL", "lpt1", 'a:b*c?"d<e>f|g', "..", "trailing. ", "é" * 300, "", "2026-05-30 07:02:15"):
        name = file_name(wanted, set(), ".geojson")
        assert re.fullmatch(r"[a-z0-9-]{1,80}\.geojson", name)
        assert not re.fullmatch(r"(con|prn|aux|nul|com\d|lpt\d)\.geojson", name)
    for path in PACKAGE.rglob("*"):
        assert not set(path.name) & set('<>:"|?*\\'), path
        assert not path.name.endswith((".", " ")), path


def test_the_page_is_imported_where_the_modules_of_one_system_are_missing(monkeypatch):
    """As on Windows, whose Python has none of these; what was imported already is imported anew."""
    import sys  # noqa: PLC0415

    for name in ("fcntl", "resource", "pwd", "grp", "termios"):
        monkeypatch.setitem(sys.modules, name, None)
    for name in [one for one in sys.modules if one.startswith("coverage_audit.page")]:
        monkeypatch.delitem(sys.modules, name)
    assert importlib.import_module("coverage_audit.page").serve
