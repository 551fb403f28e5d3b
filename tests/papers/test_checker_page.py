"""The page that checks a proof, in people's browsers: from disk, offline, with the words of ``proof check``."""

import itertools
import os
import random
import re
import shutil
from collections import Counter

import pytest
from browser import ARGUMENTS, CHROMIUM
from playwright.sync_api import expect, sync_playwright
from proof_edits import edited_of, mutated, update
from proof_kit import STATED, make, verify

from coverage_audit.cli import command as cli
from coverage_audit.papers.proof.figures import FORMS, MAY_BE_UNKNOWN
from coverage_audit.papers.proof.form import form_faults
from coverage_audit.papers.proof.page import FIGURES, page_of, rests_rows, rows_of, sentence_of
from coverage_audit.papers.proof.pdf import pdf_of
from coverage_audit.papers.proof.rests import ELSEWHERE, RESTS, SAYS
from coverage_audit.papers.proof.sign import key_number, record_text

FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
PLAIN = {"color_scheme": "null", "reduced_motion": "null", "forced_colors": "null", "contrast": "null"}
"""Firefox knows no such wishes under this driver."""
PAPERS = ("proof-buyer.json", "proof.html", "proof.pdf")


@pytest.fixture(scope="module")
def proof(tmp_path_factory):
    return make(tmp_path_factory.mktemp("checked"))


@pytest.fixture(scope="module")
def edited_proofs(tmp_path_factory):
    return edited_of(tmp_path_factory.mktemp("edited"))


@pytest.fixture(scope="module")
def playwright():
    with sync_playwright() as driver:
        yield driver


class Checker:
    """The page, opened from disk with the network cut; it remembers what it asked for."""

    def __init__(self, browser, path):
        self.asked, self.faults, self.given = [], [], 0
        context = browser.new_context(offline=True, **(PLAIN if browser.browser_type.name == "firefox" else {}))
        self.page = context.new_page()
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.goto(path.as_uri())

    def give(self, data):
        """The verdict on *data*, and why; each file has a name of its own, so that no older verdict is read."""
        self.given += 1
        name = f"file {self.given}"
        self.page.set_input_files("#file", {"name": name, "mimeType": "application/octet-stream", "buffer": data})
        expect(self.page.locator("#verdict")).to_have_attribute("data-file", name, timeout=60_000)
        return self.page.inner_text("#verdict"), self.page.inner_text("#why")

    def notice(self, name, data):
        """Choose the notice of a key that has ended; under a driver Firefox takes no other file of the same name."""
        self.page.set_input_files("#ended", {"name": name, "mimeType": "application/json", "buffer": data})

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
        assert verdict == "HOLDS"
        assert f"Signer unknown to you: compare this number of the key with the grower: {digits}" in why
        assert ("to the last byte" in why) == (name != PAPERS[0])
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


def test_a_key_that_has_ended_and_a_stamp_are_told(checker, proof, tmp_path):
    """The notice ends what was made on its day or later; before, it counts only for who had it in hand."""
    data = (proof.out / "proof.pdf").read_bytes()
    for day, verdict in (("2026-06-30", "DOES NOT HOLD"), ("2026-07-01", "HOLDS IF YOU HAD IT BEFORE 2026-07-01")):
        run = ["proof", "end", "--key", str(proof.keys / "seller.private"), "--from", day, "-o", str(tmp_path / day)]
        assert cli.main([*run, "--quiet"]) == 0
        checker.notice(day, (tmp_path / day / "key-ended.json").read_bytes())
        assert checker.give(data)[0] == verdict
    broken = (tmp_path / "2026-07-01" / "key-ended.json").read_bytes().replace(b"2026-07-01", b"2027-07-01")
    checker.notice("broken", broken)
    assert checker.give(data)[0] == "NOT CHECKED"
    checker.page.set_input_files("#ended", [])
    assert checker.give(data)[0] == "HOLDS"


def test_a_stamped_proof_holds_and_its_service_is_said_to_be_unchecked(checker, edited_proofs):
    for name in PAPERS:
        verdict, why = checker.give(edited_proofs[-1][name])
        assert (verdict, "was not checked here" in why) == ("HOLDS", True)


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


# --- the papers made anew by the page's own script ---------------------------------------------------

LETTERS = (
    *"aZ 0(9)\\\\<&>\"'{}%~",
    *"\u00e9\u00df\u00b5\u0141\u0142\u0430\u03b1\u0531\u05d0\u0627\u0915\u4e2d\uac00\ud7a3\u10d0\u1ea0\uff21\ufb01\u2126\u2460",
    *"\u00a0\u00ad\u200b\u200d\u202e\u2028\u3000\ufeff\u0300\ufffd\ue000\u115f\u3164\u2800\U0001d400\U0001f600\U000e0001",
)


def text(rng, most=300):
    """Typed text of any letters, half of the time with blanks as a person sets them."""
    size = rng.choice((0, 1, 12, 40, rng.randint(1, most)))
    alphabet = rng.choice((LETTERS, "abcdefgh W i  ", LETTERS[:14]))
    return "".join(rng.choice(alphabet) for _ in range(size))


def figure(rng, name, place):
    """A figure of its form, small and large."""
    form = FORMS[name]
    if rng.random() < 0.15 and name in MAY_BE_UNKNOWN:
        return {"value": None, "unit": form.unit, "origin": form.origin}
    coarse = place != "exact" and form.unit == "m2"
    decimals = 1 if coarse else form.decimals
    most = 100 if form.unit == "%" else 10 ** rng.randint(0, 9)
    value = f"{rng.choice((0, rng.uniform(0, most), most))}"
    return {"value": f"{float(value):.{decimals}f}", "unit": "ha" if coarse else form.unit, "origin": form.origin}


def line(rng, cases):
    code = rng.choice(sorted(cases))
    names = set(re.findall(r"\{(\w+)\}", cases[code])) - ELSEWHERE
    return {"is": code, **{name: rng.choice(("0", "12.5\u00a0ha", "-3600", "less than 0.1\u00a0ac")) for name in names}}


def shape(rng):
    return [[rng.randint(0, 1000), rng.randint(0, 1000)] for _ in range(rng.choice((3, 4, 30)))]


def odd_record(rng, record):
    """A record of the form, of everything that a seller may say."""
    place = rng.choice(("exact", "blurred", "none"))
    what = {"field": text(rng), "crop": text(rng), "date": rng.choice(("2026-02-28", "2024-02-29", "0001-01-01"))}
    day = lambda: rng.choice(("not stated", "2026-12-31"))  # noqa: E731 - one expression, used twice
    what["products"] = [
        {"name": text(rng), "reg_no": text(rng), "rate": text(rng), "earliest_cut": day(), "earliest_grazing": day()}
        for _ in range(rng.choice((0, 1, 3, 12)))
    ]
    what["label"] = {key: rng.choice(("not stated", text(rng))) for key in record["what"]["label"]}
    later = [
        {"date": "2026-06-01", "products": [text(rng, 80) for _ in range(rng.randint(0, 3))]}
        for _ in range(rng.choice((0, 0, 1, 2)))
    ]
    record.update(
        what=what,
        later=later,
        place=place,
        units=rng.choice(("metric", "us")),
        says=line(rng, SAYS),
        figures={name: figure(rng, name, place) for name in FORMS},
        rests=[{key: line(rng, one.cases) for key, one in RESTS.items()} for _ in range(1 + len(later))],
        map={"outline": shape(rng), "missed": [shape(rng) for _ in range(rng.randint(0, 4))]}
        if place == "exact"
        else {"outline": [], "missed": []},
    )


def test_page_and_pdf_are_those_of_the_command_for_odd_records(checker, proof):
    """Letters of many scripts, texts without a blank, any figure, one page to many: two programs, the same bytes."""
    rng = random.Random(20260601)
    sheets = set()
    for number in range(24):
        record = proof.again(lambda found: odd_record(rng, found))
        assert form_faults(record) == []
        pdf = pdf_of(record)
        sheets.add(pdf.count(b"/Type /Page\n"))
        for name, data in (("page", page_of(record).encode()), ("pdf", pdf)):
            verdict, why = checker.give(data)
            assert (verdict, "to the last byte" in why) == ("HOLDS", True), (number, name, why)
        shown = " ".join(checker.page.inner_text("#rows").split())
        for row in (*rows_of(record), *rests_rows(record)):
            assert " ".join(" ".join(row).split()) in shown
    assert len(sheets) > 2


def test_a_paper_that_shows_something_else_does_not_hold(checker, proof):
    """The record inside is left whole each time: its words are shown, and the paper is refused."""
    page, pdf = ((proof.out / name).read_bytes() for name in PAPERS[1:])
    style = b"<style>.missed, tbody tr:nth-child(5) { display: none; }</style>"
    tricks = [
        page.replace(b"</head>", style + b"</head>"),
        page.replace(b"98.33", b"99.99", 1),
        page.replace(b"There is none.", b"There is none, certified.", 1),
        page.replace(b'class="value"', b'hidden class="value"', 1),
        page.replace(b"<body>", b"<body><p>All of it was sprayed.</p>"),
        pdf.replace(b"There is none.", b"There is NONE!", 1),
        pdf.replace(b"0 g\n", b"1 g\n", 1),
        pdf.replace(b" Td (", b" Tz (", 1),
        update(pdf, b"BT /F1 18.00 Tf ET\nBT 48 700 Td (100 % proven) Tj ET\n"),
        pdf.replace(b"/MediaBox [0 0 595.28 841.89]", b"/MediaBox [0 0 595.28 300.00]", 1),
    ]
    for number, trick in enumerate(tricks):
        assert trick not in {page, pdf}, number
        verdict, why = checker.give(trick)
        assert verdict == "DOES NOT HOLD", number
        assert "Do not go by it" in why, number
        assert checker.page.inner_text("#sentence") == sentence_of(proof.record())


def no_edit_passes(checker, proofs, count, tmp_path):
    """Of seeded edits every one that changes a byte is refused by the command and by the page alike."""
    wrong, kinds = [], Counter()
    for seed in itertools.count():
        if kinds.total() == count:
            break
        data, name, done = mutated(seed, proofs)
        if data is None:
            continue
        (tmp_path / "edited").write_bytes(data)
        code = verify(tmp_path / "edited", "--quiet")
        verdict, _ = checker.give(data)
        kinds[verdict] += 1
        if code not in {2, 3} or verdict not in {"DOES NOT HOLD", "NOT CHECKED"}:
            wrong.append((seed, name, done, code, verdict))
    return wrong, kinds


def test_no_edit_passes(checker, edited_proofs, tmp_path):
    wrong, kinds = no_edit_passes(checker, edited_proofs, 30, tmp_path)
    assert wrong == []
    assert len(kinds) == 2


@pytest.mark.slow
def test_none_of_five_hundred_edits_passes(checker, edited_proofs, tmp_path, capsys):
    wrong, kinds = no_edit_passes(checker, edited_proofs, 500, tmp_path)
    with capsys.disabled():
        print(f"\n{dict(kinds)}, held wrongly: {len(wrong)}")  # noqa: T201
    assert wrong == []


def test_nothing_is_sent_or_loaded(checker, proof):
    page = (proof.out / "check-a-proof.html").read_text()
    assert "default-src 'none'" in page
    assert not re.search(r"(?:src|href|action)\s*=|https?://|fetch\(|XMLHttp|import\(", page)
    assert [one for one in checker.asked if not one.startswith(("file:", "data:"))] == []
    assert checker.faults == []


def test_a_paper_fits_a_phone(checker, proof):
    """On a page 390 px wide nothing stands beyond the edge, the long hashes neither."""
    page = checker.page.context.new_page()
    page.set_viewport_size({"width": 390, "height": 850})
    page.goto((proof.out / "proof.html").as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.close()
