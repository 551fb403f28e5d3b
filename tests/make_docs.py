"""Write the example outputs of README and manual and the files in reports/ anew: python tests/make_docs.py.

The picture needs the Chromium that is installed on the machine.
"""

import contextlib
import io
import re
import shutil
import tempfile
from pathlib import Path

from coverage_audit.accuracy.outlook import outlook
from coverage_audit.cli import main
from coverage_audit.jobs.settings import ReportSettings

ROOT = Path(__file__).parent.parent
MANUAL = ROOT / "coverage_audit" / "manual"
OPENING_LINES = 4
COMMANDS = {
    "coverage-audit demo": ["demo"],
    "coverage-audit check fixtures/one_pass_off/job.toml": [
        "check",
        str(ROOT / "fixtures" / "one_pass_off" / "job.toml"),
    ],
}


def output_of(command, folder):
    """What *command* prints, with the output folder shown as a person would have named it."""
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        main([*COMMANDS[command], "-o", str(folder)])
    shown = "coverage-audit-demo" if command.endswith("demo") else "one_pass_off"
    return printed.getvalue().replace(str(folder), shown).replace("\u00a0", " ").strip()


def block(command, part="output"):
    """Pattern of the block that shows the output of *command*, or its "opening": the first lines."""
    return re.compile(rf"(<!-- {part} of: {re.escape(command)} -->\n```text\n)(.*?)(```\n)", re.DOTALL)


def opening(told):
    """The first lines of an output."""
    return "\n".join(told.split("\n")[:OPENING_LINES])


def picture(page, target):
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - only the picture needs a browser

    flags = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=flags)
        view = browser.new_page(viewport={"width": 900, "height": 1150})
        view.goto(page.as_uri())
        view.wait_for_timeout(500)
        view.screenshot(path=target)
        browser.close()


OUTLOOK = re.compile(r"(<!-- outlook -->\n(?:\|[^\n]*\n){2})(.*?)(<!-- /outlook -->\n)", re.DOTALL)


def outlook_rows():
    """Rows of the manual's table of the smallest skips that can be told."""
    found = outlook(ReportSettings().min_width_m)
    return "".join(f"| {name} | {ways['hand']:.1f} m | {ways['guided']:.1f} m |\n" for name, ways in found.items())


def write_docs():
    how_sure = MANUAL / "how_sure.md"
    text = how_sure.read_text(encoding="utf-8")
    how_sure.write_text(OUTLOOK.sub(lambda found: f"{found[1]}{outlook_rows()}{found[3]}", text), encoding="utf-8")
    for command in COMMANDS:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name) / "out"
            told = output_of(command, folder)
            if command.endswith("demo"):
                shutil.copy(folder / "report.html", ROOT / "reports" / "demo.html")
                picture(folder / "report.html", ROOT / "reports" / "demo.png")
        for path in (ROOT / "README.md", *MANUAL.glob("*.md")):
            old = path.read_text(encoding="utf-8")
            new = block(command).sub(lambda found, told=told: f"{found[1]}{told}\n{found[3]}", old)
            new = block(command, "opening").sub(lambda found, told=told: f"{found[1]}{opening(told)}\n{found[3]}", new)
            if new != old:
                path.write_text(new, encoding="utf-8")


if __name__ == "__main__":
    write_docs()
