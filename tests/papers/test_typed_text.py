"""Typed text on one visible line."""

import unicodedata

import pytest

from coverage_audit.papers.words.safe import one_line, other_scripts


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Larch meadow", "Larch meadow"),
        ("  Larch\u00a0 \u2003meadow ", "Larch meadow"),
        ("a\nb\tc\x00d\x9be\x7f", "a\\u000ab\\u0009c\\u0000d\\u009be\\u007f"),
        ("\u202eabc\u2069\u200b\ufeff", "\\u202eabc\\u2069\\u200b\\ufeff"),
        ("\U000e0041\ud800", "\\U000e0041\\ud800"),
        ("\u3164\u2800", "\\u3164\\u2800"),
        ("Łąka Größe №5", "Łąka Größe №5"),
    ],
)
def test_what_cannot_be_seen_is_written_as_its_number(text, shown):
    assert one_line(text, 100, spelled=True) == shown


def test_no_letter_of_unicode_steers_a_line():
    """Every code point: categories of control, format, surrogate, private, unassigned and line separators."""
    steering = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
    for number in range(0x110000):
        letter = chr(number)
        if unicodedata.category(letter) in steering:
            assert one_line(f"a{letter}b", 20, spelled=True).isascii(), hex(number)


def test_a_long_text_is_cut_and_said():
    assert one_line("x" * 300, 300, spelled=True) == "x" * 300
    assert one_line("x" * 301, 300, spelled=True) == "x" * 300 + "... (cut; 301 letters)"
    assert len(one_line("\n" * 300, 300, spelled=True)) < 330
    assert one_line("x" * 10_000_000, 10, spelled=True) == "xxxxxxxxxx... (cut; 10000000 letters)"


@pytest.mark.parametrize(
    ("text", "scripts"),
    [("Alder", ""), ("Łąka, Größe 5 m²", ""), ("\u0410lder", "Cyrillic"), ("\u0391\u0410", "Cyrillic, Greek")],
)
def test_other_scripts_are_named(text, scripts):
    assert other_scripts(text) == scripts


def test_digits_of_other_scripts_are_named():
    assert other_scripts("1.2 L/ha") == ""
    assert other_scripts("\u0661.2 L/ha") == "Arabic-Indic"
    assert other_scripts("\uff11.2 L/ha") == "Fullwidth"
