"""``coverage-audit manual``: writes over nobody's file, opens a browser only for a person, says where the page lies."""

import sys
import webbrowser
from pathlib import Path

import pytest

from coverage_audit.cli import main
from coverage_audit.papers.manual import manual_html, sheet_html


@pytest.fixture
def asked(monkeypatch):
    """Addresses that a browser was asked to open; the browser takes them."""
    found = []
    monkeypatch.setattr(webbrowser, "open", lambda address: found.append(address) or True)
    return found


def at_a_terminal(monkeypatch):
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)


@pytest.mark.parametrize(("options", "page"), [([], manual_html), (["--sheet"], sheet_html)])
def test_page_goes_into_the_file_that_was_named_and_is_not_opened(options, page, tmp_path, capsys, asked, monkeypatch):
    at_a_terminal(monkeypatch)
    target = tmp_path / "deeper" / "page.html"
    assert main(["manual", *options, "-o", str(target)]) == 0
    assert target.read_text(encoding="utf-8") == page()
    assert str(target) in capsys.readouterr().out
    assert not asked


def test_without_a_terminal_it_says_where_the_page_was_written(capsys, asked):
    assert main(["manual"]) == 0
    told = capsys.readouterr().out
    written = Path(told.split(" was written to ")[1].split(";")[0])
    assert written.read_text(encoding="utf-8") == manual_html()
    assert not asked


def test_at_a_terminal_the_browser_is_asked_and_the_place_told(capsys, asked, monkeypatch):
    at_a_terminal(monkeypatch)
    assert main(["manual", "--sheet"]) == 0
    assert len(asked) == 1
    assert asked[0].startswith("file:")
    assert "sheet.html" in capsys.readouterr().out


def test_no_browser_is_no_fault(capsys, monkeypatch):
    at_a_terminal(monkeypatch)

    def none(_address):
        raise webbrowser.Error("could not locate runnable browser")

    monkeypatch.setattr(webbrowser, "open", none)
    assert main(["manual"]) == 0
    assert "was written to" in capsys.readouterr().out


def test_an_earlier_page_is_replaced_and_any_other_file_is_not(tmp_path, capsys):
    target = tmp_path / "manual.html"
    target.write_text("my own notes", encoding="utf-8")
    assert main(["manual", "-o", str(target)]) == 2
    assert "is no manual; choose another name" in capsys.readouterr().err
    assert target.read_text(encoding="utf-8") == "my own notes"
    target.write_text(sheet_html(), encoding="utf-8")
    assert main(["manual", "-o", str(target)]) == 0
    assert target.read_text(encoding="utf-8") == manual_html()


@pytest.mark.parametrize("name", ["", "n" * 300 + ".html", "file.txt/manual.html"])
def test_a_name_that_no_page_can_have_is_told_in_one_line(name, tmp_path, capsys):
    (tmp_path / "file.txt").write_text("a file, not a folder", encoding="utf-8")
    assert main(["manual", "-o", str(tmp_path / name)]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_no_room_for_temporary_files_is_told(monkeypatch, capsys):
    def full(**_named):
        raise FileNotFoundError("No usable temporary directory found")

    monkeypatch.setattr("tempfile.mkdtemp", full)
    assert main(["manual"]) == 2
    assert "-o manual.html" in capsys.readouterr().err
