"""Papers say "made good" and "applied": "cured" means drying to people who make hay."""

import re
import shutil
from pathlib import Path

import pytest

from coverage_audit.cli import main

ROOT = Path(__file__).parents[2]
NOT_SAID = re.compile(
    r"\b(?:un)?cur(?:e|es|ed|ing)\b|\bl(?:et|ets|etting) out\b|\blaid\b(?! over one another| a fine grid)",
    re.IGNORECASE,
)
KEY = re.compile(r'"cured_m2"')
"""Kept for programs that read touchup.json."""


@pytest.mark.parametrize("name", ["three_strips_in_order", "strip_with_sections", "label_forbids"])
def test_papers_of_a_touchup_say_made_good(name, tmp_path, capsys):
    folder, out = tmp_path / "in", tmp_path / "out"
    shutil.copytree(ROOT / "fixtures" / "touchup" / name, folder)
    with (folder / "job.toml").open("a", encoding="utf-8") as job:
        job.write("\n[accuracy]\nreplicates = 0\n")  # as logged: with an unknown receiver no strip is sure
    assert main(["touchup", str(folder / "job.toml"), "-o", str(out)]) == 0
    texts = {
        path.name: path.read_text(encoding="utf-8") for path in out.iterdir() if path.suffix not in {".png", ".pdf"}
    }
    texts["terminal"] = capsys.readouterr().out
    for paper, text in texts.items():
        assert not NOT_SAID.search(re.sub(r"<script>.*?</script>", "", KEY.sub("", text), flags=re.DOTALL)), paper
    assert "Made good" in texts["report.html"]
    assert "making it good is worth" in texts["touchup.json"]


def test_no_template_says_it():
    for path in (ROOT / "coverage_audit" / "papers" / "templates").glob("*.html"):
        assert not NOT_SAID.search(path.read_text(encoding="utf-8")), path.name


def test_the_search_finds_what_it_is_for():
    assert all(map(NOT_SAID.search, ("cured", "uncured ground", "Let out", "curing it", "spray laid")))
    assert not NOT_SAID.search("laid over one another")
    assert not NOT_SAID.search("accurate, secured, sprayed, healed")
