"""What the tests of the page in real browsers share: the package from its own wheel, two browsers, a served farm."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from browser import ARGUMENTS, CHROMIUM
from page_jobs import LOG
from page_visit import PATIENCE_MS
from playwright.sync_api import expect, sync_playwright

ROOT = Path(__file__).parents[2]
FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
expect.set_options(timeout=PATIENCE_MS)


def missing(name):
    if os.environ.get("CI"):
        pytest.fail(f"{name} is missing: the page cannot be tested (Debian: apt install {name})")
    pytest.skip(f"{name} is not installed")


@pytest.fixture(scope="session")
def landed(tmp_path_factory):
    """The package as its wheel installs it, and an environment in which it stands before the checkout."""
    folder = tmp_path_factory.mktemp("landed")
    source, wheels, target = folder / "source", folder / "wheels", folder / "site"
    source.mkdir()
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    shutil.copytree(ROOT / "coverage_audit", source / "coverage_audit", ignore=shutil.ignore_patterns("__pycache__"))
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--quiet"]
    subprocess.run([*pip, "wheel", "--no-deps", "--no-index", "--no-build-isolation", "-w", wheels, source], check=True)
    (wheel,) = wheels.iterdir()
    subprocess.run([*pip, "install", "--no-deps", "--no-index", "--target", target, wheel], check=True)
    environment = {**os.environ, "PYTHONPATH": str(target)}
    told = subprocess.run(
        [sys.executable, "-c", "import coverage_audit; print(coverage_audit.__file__)"],
        check=True,
        capture_output=True,
        text=True,
        env=environment,
        cwd=folder,
    ).stdout
    assert Path(told.strip()).is_relative_to(target)
    return target / "bin" / "coverage-audit", environment


@pytest.fixture(scope="module")
def playwright():
    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="module")
def chromium(playwright):
    if CHROMIUM is None:
        missing("chromium")
    opened = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def firefox(playwright):
    if FIREFOX is None:
        missing("firefox-esr")
    opened = playwright.firefox.launch(channel="moz-firefox", executable_path=FIREFOX)
    yield opened
    opened.close()


@pytest.fixture
def served(landed, tmp_path):
    """The program as a person starts it; its address, the farm's folder, and the process."""
    command, environment = landed
    root = tmp_path / "farm"
    words = [sys.executable, command, "page", str(root), "--no-browser"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=environment, cwd=tmp_path) as program:
        yield program.stdout.readline().strip(), root, program
        program.terminate()


@pytest.fixture
def dropped(tmp_path):
    path = tmp_path / "Tuesday.gpx"
    path.write_bytes(LOG.gpx)
    return path
