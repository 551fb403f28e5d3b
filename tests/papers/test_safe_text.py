"""Typed text and names from files on terminal, in JSON and on pages: data, one line, and nothing unseen."""

import json
import sys
from pathlib import Path

import pytest
from audit_builder import worked_figure
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit import run
from coverage_audit.cli import command as cli
from coverage_audit.cli import terminal
from coverage_audit.papers.page import report_html
from coverage_audit.papers.summary import summary_json
from coverage_audit.papers.templating import page_templates
from coverage_audit.papers.terminal import terminal_text
from coverage_audit.papers.words.safe import json_text, one_line, printable

SPOOF = "Residue test: none found (measured)"
STEERING = [*map(chr, range(0x80, 0xA0)), *"\x00\x07\x1b\x7f\u200e\u200f\u061c\u2028\u2029\ufeff\u00ad"]
STEERING += [*map(chr, range(0x202A, 0x202F)), *map(chr, range(0x2066, 0x206A))]
"""C0 and C1 controls, and the controls of the Unicode Bidirectional Algorithm (UAX 9, section 2)."""


@pytest.mark.parametrize("letter", STEERING)
def test_characters_that_steer_reach_neither_terminal_nor_json_nor_page(letter):
    audit = worked_figure(name=f"meadow{letter}ten")
    assert letter not in printable(letter)
    assert letter not in terminal_text(audit)
    text = summary_json(audit)
    assert letter not in text
    assert json.loads(text)["job"]["name"] == f"meadow{letter}ten"
    assert letter not in page_templates().from_string("{{ name }}").render(name=f"meadow{letter}ten")


def test_page_of_an_audit_holds_nothing_unseen():
    page = report_html(worked_figure(name="a\u202eb\u0085c", notes="d\u2066e\u009bf", operator="g\u200fh"))
    assert not set("\u202e\u0085\u2066\u009b\u200f") & set(page)


@given(st.text())
def test_json_is_read_back_as_it_was(text):
    assert json.loads(json_text({text: [text]}, indent=1)) == {text: [text]}
    assert all(letter.isprintable() or letter == "\n" for letter in json_text([text], indent=1))


def test_json_keeps_letters_of_every_script():
    assert json_text("Wiesengrün, луг, 草地") == '"Wiesengrün, луг, 草地"\n'
    with pytest.raises(ValueError, match="not JSON compliant"):
        json_text(float("nan"))


@given(st.text())
def test_one_line_is_one_and_bounded(text):
    line = one_line(text, 20)
    assert len(line) <= 20
    assert len(line.splitlines()) <= 1
    assert line == line.strip()


@pytest.mark.parametrize("end", ["\n", "\r", "\u0085", "\u2028", "\x0b"])
def test_typed_text_cannot_make_a_line_of_its_own(end):
    told = terminal_text(worked_figure(name=f"meadow{end}{SPOOF}"))
    assert SPOOF not in [line.strip() for line in told.splitlines()]
    assert told.splitlines()[0].startswith("meadow " + SPOOF)


def test_long_name_does_not_push_the_verdict_away():
    assert len(terminal_text(worked_figure(name="m" * 10_000)).splitlines()[0]) < 400


def test_labels_of_a_comparison_stay_on_their_line(tmp_path, capsys):
    job = str(Path(__file__).parents[2] / "fixtures" / "one_pass_off" / "job.toml")
    labels = ["--label", f"a\n{SPOOF}\n", "--label", "b\u202e"]
    assert cli.main(["compare", job, job, *labels, "-o", str(tmp_path / "out")]) == 0
    told = capsys.readouterr().out
    assert SPOOF not in told.splitlines()
    assert f"a {SPOOF}" in told
    assert "\u202e" not in told
    assert "\u202e" not in (tmp_path / "out" / "compare.json").read_text(encoding="utf-8")


def test_look_shows_the_name_of_a_log_on_one_line(small_job, capsys):
    name = f"track\n{SPOOF}\n.gpx"
    small_job.write(name, small_job.read("track.gpx"))
    assert cli.main(["look", str(small_job.folder / name)]) == 0
    assert SPOOF not in capsys.readouterr().out.splitlines()


def test_progress_bar_shows_names_without_what_steers(small_job, monkeypatch, capsys):
    small_job.write("a\u202e\x9b2J.gpx", small_job.read("track.gpx"))
    small_job.change("files", '["a\\u202e\\u009b2J.gpx"]', "track")
    monkeypatch.setattr(run, "audited", lambda job, *_: job)
    monkeypatch.setattr(terminal, "tell", lambda *_: None)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    assert cli.main(["check", str(small_job.path), "--json"]) == 0
    told = capsys.readouterr().err
    assert "reading a" in told
    assert not {"\u202e", "\x9b"} & set(told)
