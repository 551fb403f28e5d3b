"""The manual says what the program takes: every command, option and key, and none that does not exist."""

import argparse
import re
import shlex
import tempfile
from pathlib import Path

import make_docs
import pytest
from browser import ARGUMENTS, CHROMIUM

from coverage_audit.cli import main
from coverage_audit.errors import InputError
from coverage_audit.jobs.read import read_job
from coverage_audit.papers.manual import CHAPTERS, SHEET, chapter_text, manual_html, sheet_html

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
TEXTS = {name: chapter_text(name) for name in (*CHAPTERS, SHEET)}
NEEDED = {
    "field": 'boundary = "nowhere.geojson"',
    "track": 'files = "nowhere.gpx"',
    "boom": 'intervals = "marks"\nwidth = "9 m"',
}
NO_SUCH_FILE = 'there is no file "'
FILE_ENDINGS = {"html", "css", "json", "gpx", "geojson", "pdf", "kml", "csv", "toml", "asc", "prj", "png"}


def whole_parser():
    """The command's own parser, caught when it is first asked to parse."""
    caught = []

    def catch(self, *_args, **_named):
        caught.append(self)
        raise KeyboardInterrupt

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(argparse.ArgumentParser, "parse_known_args", catch)
        main([])
    return caught[0]


PARSER = whole_parser()


def walked(parser, name=""):
    """(command, its actions) of *parser* and of every command in it."""
    actions = [action for action in parser._actions if action.dest != "help"]  # noqa: SLF001 - there is no other way
    deeper = [action for action in actions if isinstance(action.choices, dict)]
    if not deeper:
        yield name, actions
    for action in deeper:
        for word, one in action.choices.items():
            yield from walked(one, f"{name} {word}".strip())


COMMANDS = dict(walked(PARSER))


def sections(text):
    """Heading of the second step to the text under it."""
    parts = re.split(r"^## (.*)\n", text, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def rows(text):
    """First cell to whole line of every row of the tables in *text*."""
    lines = [line for line in text.splitlines() if line.startswith("| `")]
    return {line.split("|")[1].strip(): line for line in lines}


def told_options(section):
    """Options and arguments that the table of a command names."""
    return {code.split()[0] for cell in rows(section) for code in re.findall(r"`([^`]+)`", cell)}


def fences(kind, text):
    return re.findall(rf"^```{kind}\n(.*?)^```", text, re.DOTALL | re.MULTILINE)


def complaint(text):
    """What is said of a job file with this *text*; tables that are needed are added where it has none."""
    missing = [f"[{table}]\n{lines}" for table, lines in NEEDED.items() if f"[{table}]" not in text]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "job.toml"
        path.write_text("\n".join([text, *missing]), encoding="utf-8")
        try:
            read_job(path)
        except InputError as error:
            return error.what
    return ""


def known_in(text):
    """Names that are listed when *text* has one, zzzz, that is not known; none when it stands where no name can."""
    found = re.search(r"there is no such key; known here: (.*)", complaint(text))
    return found[1].split(", ") if found else []


def key_names(table):
    """Keys of a table of the job file, with those of the tables in it as "nozzles.count"."""
    head = f"[[{table}]]" if table == "product" else f"[{table}]"
    for key in known_in(f"{head}\nzzzz = 0"):
        yield key
        others = [line for line in NEEDED.get(table, "").splitlines() if not line.startswith(f"{key} ")]
        yield from (f"{key}.{inner}" for inner in known_in("\n".join([head, f"{key} = {{zzzz = 0}}", *others])))


JOB_TABLES = {table: set(key_names(table)) for table in known_in("zzzz = 0")}


# --- commands -------------------------------------------------------------------------------------


def test_every_command_has_a_section_and_no_other_stands_there():
    assert set(sections(TEXTS["commands"])) - {"From Python"} == set(COMMANDS)


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_options_of_a_command_are_those_that_the_manual_names(command):
    real = {
        name for one in COMMANDS[command] for name in (one.option_strings or [one.metavar or one.dest]) if name != "-h"
    }
    assert told_options(sections(TEXTS["commands"])[command]) == real


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_words_that_an_option_takes_stand_in_its_row(command):
    told = rows(sections(TEXTS["commands"])[command])
    for one in COMMANDS[command]:
        if one.choices:
            line = next(line for cell, line in told.items() if f"`{one.option_strings[-1]} " in cell)
            assert all(f"`{word}`" in line for word in one.choices), line


@pytest.mark.parametrize("name", sorted(TEXTS))
def test_no_chapter_names_an_option_that_does_not_exist(name):
    real = {option for actions in COMMANDS.values() for one in actions for option in one.option_strings}
    assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", TEXTS[name])) <= real | {"--help", "--version"}


def typed_lines():
    for name, text in {"README": README, **TEXTS}.items():
        for block in fences("sh", text):
            yield from ((name, line) for line in block.splitlines() if line.startswith("coverage-audit "))
        inline = re.findall(r"`(coverage-audit (?:check|touchup|proof|manual|look) [^`]*)`", text)
        yield from ((name, line) for line in inline if not re.search(r"[A-Z\[]{3}|\[", line))


@pytest.mark.parametrize(("name", "line"), sorted(set(typed_lines())))
def test_lines_to_type_are_taken_by_the_command(name, line):
    options = PARSER.parse_args(shlex.split(line, comments=True)[1:])
    assert options.run, name


# --- job file -------------------------------------------------------------------------------------


def test_every_table_of_the_job_file_has_a_section_and_no_other_stands_there():
    assert set(sections(TEXTS["job_file"])) == set(JOB_TABLES)


@pytest.mark.parametrize("table", sorted(JOB_TABLES))
def test_keys_of_a_table_are_those_that_the_manual_names(table):
    told = {cell.strip("`") for cell in rows(sections(TEXTS["job_file"])[table])}
    assert told == JOB_TABLES[table]


@pytest.mark.parametrize("name", sorted(TEXTS))
def test_no_chapter_names_a_key_that_does_not_exist(name):
    for table, key in re.findall(r"`([a-z]+)\.([a-z_]+)`", TEXTS[name]):
        if table in JOB_TABLES and key not in FILE_ENDINGS:
            assert key in JOB_TABLES[table], f"{table}.{key}"


EXAMPLES = {f"{name}-{k}": block for name, text in TEXTS.items() for k, block in enumerate(fences("toml", text))}


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_examples_of_the_job_file_are_taken(name):
    """All but the files that they name, which are not there."""
    assert NO_SUCH_FILE in complaint(EXAMPLES[name])


def test_keys_that_are_needed_are_marked():
    for table, lines in NEEDED.items():
        told = rows(sections(TEXTS["job_file"])[table])
        key = lines.split(" = ")[0]
        assert "| needed |" in told[f"`{key}`"]
        assert "this is missing" in complaint(f"[{table}]")


# --- the pages ------------------------------------------------------------------------------------


def test_pages_load_nothing_and_every_link_leads_somewhere():
    for page in (manual_html(), sheet_html()):
        assert "default-src 'none'" in page
        assert not re.findall(r"(?:src=|url\((?!#)|@import|https?:)[^\n]{0,40}", page)
        places = re.findall(r' id="([^"]+)"', page)
        assert len(places) == len(set(places))
        links = set(re.findall(r'href="([^"]*)"', page)) - {"data:,"}
        assert links <= {f"#{place}" for place in places}


def test_every_source_is_in_the_manual_once():
    assert {path.stem for path in make_docs.MANUAL.glob("*")} == set(TEXTS)
    page = manual_html()
    assert [page.count(f'<h2 id="{name}"') for name in CHAPTERS] == [1] * len(CHAPTERS)
    assert page.count("<h1>") == 1


def test_example_in_python_runs(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    for block in fences("python", TEXTS["commands"]):
        exec(compile(block, "manual", "exec"), {})  # noqa: S102 - the manual's own example
    assert "missed 100 m2" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["README", *sorted(TEXTS)])
def test_words_that_mean_something_else_to_hay_makers_are_not_used(name):
    text = README if name == "README" else TEXTS[name]
    assert not re.findall(r"\b(?:cured?|curing|let out|laid)\b", text, re.IGNORECASE)


@pytest.fixture(scope="module")
def chromium():
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    api = pytest.importorskip("playwright.sync_api")
    with api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_sheet_fits_on_one_page(paper, tmp_path, chromium):
    pypdf = pytest.importorskip("pypdf")
    page = tmp_path / "sheet.html"
    page.write_text(sheet_html(), encoding="utf-8")
    view = chromium.new_page()
    view.goto(page.as_uri())
    view.pdf(path=tmp_path / "sheet.pdf", format=paper)
    assert len(pypdf.PdfReader(tmp_path / "sheet.pdf").pages) == 1


@pytest.mark.parametrize("width", [1280, 390])
def test_pages_are_no_wider_than_the_screen(width, tmp_path, chromium):
    for name, text in (("manual", manual_html()), ("sheet", sheet_html())):
        page = tmp_path / f"{name}.html"
        page.write_text(text, encoding="utf-8")
        view = chromium.new_page(viewport={"width": width, "height": 800})
        view.goto(page.as_uri())
        assert view.evaluate("document.documentElement.scrollWidth") <= width
