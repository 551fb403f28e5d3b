"""The browser that the tests of pages drive."""

from __future__ import annotations

import shutil

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
