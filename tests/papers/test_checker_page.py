"""The page that checks a proof, in people's browsers: from disk, offline, with the words of ``proof check``."""

import os
import random
import re
import shutil

import pytest
from browser import ARGUMENTS, CHROMIUM
from playwright.sync_api import expect, sync_playwright
from proof_kit import STATED, make, verify

from coverage_audit.papers.proof.page import FIGURES, rests_rows, rows_of, sentence_of
from coverage_audit.papers.proof.sign import key_number, record_text

FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
PLAIN = {"color_scheme": "null", "reduced_motion": "null", "forced_colors": "null", "contrast": "null"}
"""Firefox knows no such wishes under this driver."""
PAPERS = ("proof-buyer.json", "proof.html", "proof.pdf")


@pytest.fixture(scope="module")
def proof(tmp_path_factory):
    return make(tmp_path_factory.mktemp("checked"))


@pytest.fixture(scope="module")
def playwright():
    with sync_playwright() as driver:
        yield driver


class Checker:
    """The page, opened from disk with the network cut; it remembers what it asked for."""

    def __init__(self, browser, path):
        self.asked, self.faults = [], []
        context = browser.new_context(offline=True, **(PLAIN if browser.browser_type.name == "firefox" else {}))
        self.page = context.new_page()
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.goto(path.as_uri())

    def give(self, data, name="proof"):
        """The verdict on *data*, and why."""
        self.page.set_input_files("#file", {"name": name, "mimeType": "application/octet-stream", "buffer": data})
        expect(self.page.locator("#verdict")).not_to_have_text("", timeout=60_000)
        return self.page.inner_text("#verdict"), self.page.inner_text("#why")

    def number(self, digits):
        """Type the seller's number."""
        self.page.fill("#number", digits)


@pytest.fixture(scope="module", params=["chromium", "firefox"])
def checker(request, playwright, proof):
    path = {"chromium": CHROMIUM, "firefox": FIREFOX}[request.param]
    if path is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)(f"{request.param} is missing")
    if request.param == "chromium":
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
    else:
        browser = playwright.firefox.launch(channel="moz-firefox", executable_path=path)
    yield Checker(browser, proof.out / "check-a-proof.html")
    browser.close()


@pytest.fixture(autouse=True)
def no_number(checker):
    checker.number("")


def test_every_paper_is_read_and_the_words_are_those_of_the_command(checker, proof, capsys):
    record = proof.record()
    digits = key_number(record["signature"]["public_key"])
    for name in PAPERS:
        verdict, why = checker.give((proof.out / name).read_bytes())
        assert verdict == ("HOLDS" if name == PAPERS[0] else "THE RECORD INSIDE HOLDS")
        assert f"Signer unknown to you: compare this number of the key with the grower: {digits}" in why
        assert ("was not compared here" in why) == (name != PAPERS[0])
        shown = " ".join(checker.page.inner_text("body").split())
        assert verify(proof.out / name) == 0
        told = " ".join(capsys.readouterr().out.split())
        for words in (sentence_of(record), *(value for _, value, _ in rests_rows(record))):
            assert " ".join(words.split()) in told
            assert " ".join(words.split()) in shown


@pytest.mark.parametrize("options", [("metric", "exact"), ("us", "exact"), ("us", "blurred")])
def test_figures_are_told_in_the_sellers_units(checker, tmp_path, options):
    units, place = options
    other = make(tmp_path, "--place", place, stated=f'{STATED}[report]\nunits = "{units}"\n')
    checker.give((other.out / "proof-buyer.json").read_bytes())
    shown = " ".join(checker.page.inner_text("#rows").split())
    figures = [
        f"{name} {value} {origin}" for name, value, origin in rows_of(other.record()) if name in FIGURES.values()
    ]
    assert len(figures) >= 6
    for line in figures:
        assert line in shown


def test_a_number_or_a_key_given_is_compared(checker, proof):
    data = (proof.out / "proof-buyer.json").read_bytes()
    digits = key_number(proof.record()["signature"]["public_key"])
    for typed in (digits, digits.replace(" ", ""), digits.replace(" ", "-")):
        checker.number(typed)
        assert checker.give(data)[1].startswith("Signed by the key you gave.")
    checker.number(("1" if digits[0] != "1" else "2") + digits[1:])
    assert checker.give(data)[0] == "DOES NOT HOLD"
    checker.number("12345")
    assert checker.give(data)[0] == "NOT CHECKED"
    checker.number("")
    checker.page.set_input_files("#key", str(proof.public))
    assert checker.give(data)[1].startswith("Signed by the key you gave.")
    checker.page.set_input_files("#key", [])


def test_what_is_no_proof_is_not_checked(checker, proof):
    for data in (b"", b"{}", b"%PDF-1.4\n", bytes(range(256)), (proof.inputs / "job.toml").read_bytes(),
                 (proof.out / "proof.json").read_bytes()):  # fmt: skip
        assert checker.give(data)[0] == "NOT CHECKED"


def test_another_writing_of_a_signed_record_does_not_hold(checker, proof):
    """A key twice, 1.0 for 1, blanks, another order, marks of byte order, look-alike letters: as the command."""
    data = (proof.out / "proof-buyer.json").read_bytes()
    text = data.decode()
    tricks = [
        text.replace('"copy"', '"made": "2026-06-30",\n "copy"', 1).encode(),
        text.replace('"copy"', '"copy": "buyer",\n "copy"', 1).encode(),
        data + b" ",
        b" " + data,
        data.replace(b"\n", b"\r\n"),
        b"\xef\xbb\xbf" + data,
        text.replace("Larch", "L\\u0430rch").encode(),
        data.replace(b'"blurred"', b'"none"'),
    ]
    for trick in tricks:
        assert trick != data
        assert checker.give(trick)[0] in {"DOES NOT HOLD", "NOT CHECKED"}


def test_a_record_of_another_form_does_not_hold_though_it_is_signed(checker, proof):
    """The seller's own key under words of his own."""
    for change in (
        lambda record: record["says"].update(target="all of the county"),
        lambda record: record["rests"][0]["boom"].update({"is": "certified"}),
        lambda record: record["rests"][0].pop("gaps"),
        lambda record: record["says"].update({"is": "constructor"}),
    ):
        forged = proof.again(change)
        assert checker.give(record_text(forged).encode())[0] == "DOES NOT HOLD"


def test_a_key_that_signs_everything_does_not_hold(checker, proof):
    """The point of order 1 (y = 1): anybody can sign for it."""
    record = proof.record()
    record["signature"]["public_key"] = "01" + "00" * 31
    verdict, why = checker.give(record_text(record).encode())
    assert (verdict, "anybody can sign for" in why) == ("DOES NOT HOLD", True)


def edited(data, rng):
    """*data* with one byte changed, taken out or put in, or a piece of it doubled."""
    at, byte = rng.randrange(len(data)), bytes([rng.randrange(256)])
    kind = rng.choice(("change", "cut", "put", "double"))
    if kind == "change":
        return data[:at] + bytes([data[at] ^ rng.randrange(1, 256)]) + data[at + 1 :]
    if kind == "cut":
        return data[:at] + data[at + 1 :]
    if kind == "put":
        return data[:at] + byte + data[at:]
    return data[:at] + data[at : at + rng.randrange(1, 200)] + data[at:]


def no_edit_passes(checker, proof, count, tmp_path):
    """How often the page said that the record inside holds: then that record must be the very one."""
    rng = random.Random(20260530)
    inside = 0
    record = (proof.out / "proof-buyer.json").read_bytes()
    for _ in range(count):
        name = rng.choice(PAPERS)
        data = (proof.out / name).read_bytes()
        other = edited(data, rng)
        if other == data:
            continue
        (tmp_path / "edited").write_bytes(other)
        assert verify(tmp_path / "edited", "--quiet") in {2, 3}
        verdict, _ = checker.give(other)
        assert verdict != "HOLDS"
        if verdict == "THE RECORD INSIDE HOLDS":
            assert name != PAPERS[0]
            assert record in other
            inside += 1
    return inside


def test_no_edit_passes(checker, proof, tmp_path):
    no_edit_passes(checker, proof, 25, tmp_path)


@pytest.mark.slow
def test_none_of_five_hundred_edits_passes(checker, proof, tmp_path, capsys):
    inside = no_edit_passes(checker, proof, 500, tmp_path)
    with capsys.disabled():
        print(f"\n{inside} of 500 edits left the record inside a page or a PDF whole")  # noqa: T201


def test_nothing_is_sent_or_loaded(checker, proof):
    page = (proof.out / "check-a-proof.html").read_text()
    assert "default-src 'none'" in page
    assert not re.search(r"(?:src|href|action)\s*=|https?://|fetch\(|XMLHttp|import\(", page)
    assert [one for one in checker.asked if not one.startswith(("file:", "data:"))] == []
    assert checker.faults == []
