"""Forged, broken and misleading coverage proofs: none may hold, none may stop the program."""

import hashlib
import io
import json
import re
import shutil

import pypdf
import pytest
from proof_edits import update
from proof_kit import STATED, make, prove, verify

from coverage_audit.cli import command as cli
from coverage_audit.papers.proof import verify as proof_verify
from coverage_audit.papers.proof.page import page_of
from coverage_audit.papers.proof.pdf import pdf_of
from coverage_audit.papers.proof.sign import record_text, signature_fault

TAG = b'<script type="application/json" id="record">'
SHARE, FORGED = b"98.33", b"100.00"


@pytest.fixture(scope="module")
def proof(tmp_path_factory):
    return make(tmp_path_factory.mktemp("attacked"))


@pytest.fixture(scope="module")
def exact(tmp_path_factory):
    return make(tmp_path_factory.mktemp("exact"), "--place", "exact")


def written(record, path):
    """*record* as the program writes it."""
    path.write_text(record_text(record), encoding="utf-8")
    return path


def forgeries(proof):
    """(name, file name, bytes) of papers that are not what the seller made."""
    page, pdf, bare = ((proof.out / name).read_bytes() for name in ("proof.html", "proof.pdf", "proof-buyer.json"))
    record = page[page.rindex(TAG) : page.index(b"</script>", page.rindex(TAG)) + 9]
    inner = record[len(TAG) : -9]
    forged_page = page[: page.rindex(TAG)].replace(SHARE, FORGED) + page[page.rindex(TAG) :]
    shown = re.search(rb"/Contents \d+ 0 R", pdf)
    assert shown
    assert SHARE in page
    assert SHARE in pdf
    stream = re.search(rb"stream\n(2 J.*?)\nendstream", pdf, re.DOTALL)[1]
    head = pdf[: pdf.index(b"/Type /EmbeddedFile")].replace(SHARE, FORGED)
    forged_pdf = head + pdf[pdf.index(b"/Type /EmbeddedFile") :]
    return [
        ("a brace before a forged page", "a.html", b"{" + forged_page),
        ("a brace and a line before a forged page", "a.html", b"{\n" + forged_page),
        ("a brace before a forged PDF and a record", "a.pdf", b"{\n" + forged_pdf + record),
        ("a record before a forged page", "a.html", bare + forged_page),
        ("a forged page before a record", "a.html", forged_page.replace(record, b"") + bare),
        ("a forged page", "a.html", forged_page),
        ("blanks before a forged page", "a.html", b" \n\t" + forged_page),
        ("a mark of byte order before a forged page", "a.html", b"\xef\xbb\xbf" + forged_page),
        ("words before the page", "a.html", b"<h1>100.00 %</h1>" + page),
        ("a blank before the page", "a.html", b" " + page),
        ("a mark of byte order before the page", "a.html", b"\xef\xbb\xbf" + page),
        ("words after the page", "a.html", page + b"<h1>100.00 %</h1>"),
        ("a line end after the page", "a.html", page + b"\n"),
        ("another record after the first", "a.html", page.replace(record, record + record.replace(SHARE, FORGED))),
        ("another record before the first", "a.html", page.replace(record, record.replace(SHARE, FORGED) + record)),
        ("the record twice", "a.html", page.replace(record, record + record)),
        ("a page of two pages", "a.html", forged_page + page),
        ("other line ends in the page", "a.html", page.replace(b"\n", b"\r\n")),
        ("another order of keys in the page", "a.html", page.replace(inner, reordered(inner))),
        ("a blank before the record", "a.json", b" " + bare),
        ("a mark of byte order before the record", "a.json", b"\xef\xbb\xbf" + bare),
        ("a blank after the record", "a.json", bare + b" "),
        ("words after the record", "a.json", bare + b"<h1>100.00 %</h1>"),
        ("the record twice, bare", "a.json", bare + bare),
        ("another order of keys", "a.json", reordered(bare)),
        ("a key twice", "a.json", bare.replace(b'"copy"', b'"made": "2026-06-30",\n "copy"', 1)),
        ("the record in UTF-16", "a.json", bare.decode().encode("utf-16")),
        ("a forged PDF", "a.pdf", forged_pdf),
        ("an update after the PDF", "a.pdf", update(pdf, stream.replace(SHARE, FORGED))),
        ("bytes after the PDF", "a.pdf", pdf + b"\n"),
        ("bytes before the PDF", "a.pdf", b"\n" + pdf),
        ("a PDF after a PDF", "a.pdf", forged_pdf + pdf),
        ("the head of a PDF before a page", "a.pdf", b"%PDF-1.4\n" + page),
        ("a PDF with a page behind it", "a.pdf", forged_pdf + page),
        ("the head of a PDF before a record", "a.json", b"%PDF-1.4\n" + bare),
    ]


def reordered(data):
    return json.dumps(dict(reversed(list(json.loads(data).items())))).encode()


NAMES = [
    *("a brace before a forged page", "a brace and a line before a forged page"),
    *("a brace before a forged PDF and a record", "a record before a forged page", "a forged page before a record"),
    *("a forged page", "blanks before a forged page", "a mark of byte order before a forged page"),
    *("words before the page", "a blank before the page", "a mark of byte order before the page"),
    *("words after the page", "a line end after the page", "another record after the first"),
    *("another record before the first", "the record twice", "a page of two pages", "other line ends in the page"),
    *("another order of keys in the page", "a blank before the record", "a mark of byte order before the record"),
    *("a blank after the record", "words after the record", "the record twice, bare", "another order of keys"),
    *("a key twice", "the record in UTF-16", "a forged PDF", "an update after the PDF", "bytes after the PDF"),
    *("bytes before the PDF", "a PDF after a PDF", "the head of a PDF before a page"),
    *("a PDF with a page behind it", "the head of a PDF before a record"),
]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("place", ["proof", "exact"])
def test_a_file_is_what_its_whole_content_is(request, tmp_path, name, place):
    made = {one: (file, data) for one, file, data in forgeries(request.getfixturevalue(place))}
    assert set(made) == set(NAMES)
    file, data = made[name]
    (tmp_path / file).write_bytes(data)
    assert verify(tmp_path / file) in {2, 3}


def test_a_record_never_reads_as_a_page_or_a_pdf(proof, tmp_path):
    """A browser shows a file of any name as a page when it finds tags; readers look for the head of a PDF in it."""

    def change(record):
        record["what"]["field"] = "<h1>100.00 %</h1> %PDF-1.4 \u202e"

    data = written(proof.again(change), tmp_path / "a.html").read_bytes()
    assert verify(tmp_path / "a.html") == 0
    assert b"<" not in data
    assert b"%PDF" not in data
    assert data.isascii()
    assert json.loads(data)["what"]["field"] == "<h1>100.00 %</h1> %PDF-1.4 \u202e"


# --- held against the full record and the inputs ---------------------------------------------------


def _set(*path, to):
    def change(record):
        for key in path[:-1]:
            record = record[key]
        record[path[-1]] = to

    return change


RESIGNED = {
    "share": _set("figures", "proven_share", "value", to="100.00"),
    "origin": _set("figures", "proven_share", "origin", to="measured"),
    "map": _set("map", "outline", to=[[0, 0], [1000, 0], [1000, 1000]]),
    "made": _set("made", to="2026-07-01"),
    "no commitments": _set("commitments", to={}),
    "nothing withheld": lambda record: record.update(commitments={}, withheld=[]),
    "place": _set("place", to="none"),
    "date": _set("what", "date", to="2026-06-01"),
}


@pytest.mark.parametrize("name", sorted(RESIGNED))
@pytest.mark.parametrize("place", ["proof", "exact"])
def test_a_copy_signed_again_is_not_that_of_the_full_record(request, tmp_path, name, place):
    """Made by the seller's own key, so the signature holds; the full record is older and says otherwise."""
    seller = request.getfixturevalue(place)
    forged = written(seller.again(RESIGNED[name]), tmp_path / "forged.json")
    assert verify(forged, "--full", seller.out / "proof.json") == 3
    assert verify(seller.out / "proof-buyer.json", "--full", seller.out / "proof.json") == 0


def test_other_inputs_than_those_of_the_full_record_do_not_hold(proof, tmp_path, capsys):
    """A remark in the job file changes no figure and its hash."""
    inputs = shutil.copytree(proof.inputs, tmp_path / "in")
    run = [proof.out / "proof-buyer.json", "--full", proof.out / "proof.json", "--inputs", inputs]
    assert verify(*run) == 0
    with (inputs / "job.toml").open("a") as file:
        file.write("# a remark\n")
    capsys.readouterr()
    assert verify(*run) == 3
    assert "no file with the content of job.toml" in capsys.readouterr().out
    # a buyer's copy alone has no hashes: that is said
    assert verify(run[0], "--inputs", inputs) == 0
    assert "--full" in capsys.readouterr().out


def test_inputs_with_the_right_files_under_swapped_names_do_not_hold(proof, tmp_path):
    inputs = shutil.copytree(proof.inputs, tmp_path / "in")
    track = inputs / "track.gpx"
    shutil.copy(track, inputs / "other.gpx")
    track.write_text(track.read_text().replace("<trk>", "<trk><!-- x -->", 1))
    assert verify(proof.out / "proof.json", "--inputs", inputs) == 3


@pytest.mark.parametrize("change", ["map", "date"])
def test_what_the_inputs_say_otherwise_does_not_hold(exact, tmp_path, change):
    forged = written(exact.again(RESIGNED[change]), tmp_path / "forged.json")
    assert verify(forged, "--inputs", exact.inputs) == 3
    assert verify(exact.out / "proof-buyer.json", "--inputs", exact.inputs) == 0


FORMS = ["nan", "NaN", "inf", "99", "98", "98.3", "98.330", "098.33", "+98.33", "-98.33", "9.833e1", "98.33 ", "٩٨.٣٣"]


@pytest.mark.parametrize("value", [*FORMS, "98.34", "", 98.33, 98, True, ["98.33"], {}])
def test_a_figure_has_one_form(proof, tmp_path, value):
    def change(record):
        record["figures"]["proven_share"]["value"] = value

    try:
        forged = written(proof.again(change), tmp_path / "forged.json")
    except ValueError:
        pytest.fail("the test could not write its record")
    assert verify(forged, "--inputs", proof.inputs) == 3
    if value != "98.34":
        assert verify(forged) == 3


# --- papers of other library versions, and papers side by side ---------------------------------------


def as_older_library(pdf):
    """*pdf* as fpdf2 2.8.3 and 2.8.4 lay it out: the file's description inside the catalog, no second header line.

    Measured: papers really made with 2.8.3 and 2.8.4 differ from those of 2.8.5 to 2.8.9 in this alone.
    """
    bodies = dict(re.findall(rb"(?s)(?:^|\n)(\d+) 0 obj\n(.*?)\nendobj(?=\n)", pdf))
    bodies = {int(number): body for number, body in bodies.items()}
    spec = next(number for number, body in bodies.items() if b"/Type /Filespec" in body)
    stored = re.search(rb"/EF <</F (\d+ 0 R)>>", bodies.pop(spec))[1]
    text = b"<</Type /Filespec /F (proof-buyer.json) /EF <</F %s>> /Desc (The record that this paper was made from)>>"
    found = b"xref\n"
    out, offsets = b"%PDF-1.4\n", []
    for number, body in bodies.items():
        new = body.replace(b"/AF [%d 0 R]\n" % spec, b"").replace(b"/Subtype /application#2Fjson\n", b"")
        new = new.replace(b"(proof-buyer.json) %d 0 R" % spec, b"(proof-buyer.json) " + text % stored)
        new = new.replace(b"000000Z)", b"000000Z00'00')")
        new = re.sub(rb"(\d+) 0 R", lambda ref: b"%d 0 R" % (int(ref[1]) - (int(ref[1]) > spec)), new)
        offsets.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number - (number > spec), new)
    start = len(out)
    out += found + b"0 %d\n0000000000 65535 f \n" % (len(offsets) + 1)
    out += b"".join(b"%010d 00000 n \n" % offset for offset in offsets)
    trailer = re.search(rb"(?s)trailer\n.*?>>\nstartxref\n", pdf)[0]
    trailer = re.sub(rb"/Info (\d+)", lambda ref: b"/Info %d" % (int(ref[1]) - 1), trailer)
    trailer = re.sub(rb"/Size (\d+)", lambda ref: b"/Size %d" % (int(ref[1]) - 1), trailer)
    return out + trailer + b"%d\n%%%%EOF\n" % start


@pytest.mark.parametrize("place", ["proof", "exact"])
def test_a_paper_by_an_older_library_holds_and_a_forged_one_does_not(request, tmp_path, place):
    seller = request.getfixturevalue(place)
    paper = tmp_path / "proof.pdf"
    older = as_older_library((seller.out / "proof.pdf").read_bytes())
    assert pypdf.PdfReader(io.BytesIO(older)).attachments["proof-buyer.json"]
    paper.write_bytes(older)
    assert verify(paper, "--public-key", seller.public) == 0
    for one, other in ((b"98.33 %", b"99.33 %"), (b"Helvetica-Bold", b"Symbol        "), (b"0 0 595", b"9 9 595")):
        assert one in older
        paper.write_bytes(older.replace(one, other, 1))
        assert verify(paper) == 3
    paper.write_bytes(update(older, b"BT (100.00) Tj ET"))
    assert verify(paper) == 3


def test_a_paper_is_judged_on_its_own_record(proof, tmp_path, capsys):
    """A browser saves the second seller's proof.pdf as "proof (1).pdf"."""
    other = make(tmp_path / "other", stated=STATED.replace("Larch", "Birch"))
    folder = tmp_path / "downloads"
    folder.mkdir()
    shutil.copy(proof.out / "proof.pdf", folder / "proof.pdf")
    shutil.copy(other.out / "proof.pdf", folder / "proof (1).pdf")
    shutil.copy(other.out / "proof.html", folder / "proof.html")
    capsys.readouterr()
    assert verify(folder / "proof (1).pdf", "--public-key", other.public) == 0
    assert verify(folder / "proof.pdf", "--public-key", proof.public) == 0
    assert verify(folder / "proof.html", "--public-key", other.public) == 0
    assert "proof.pdf lies beside it and is the paper of another record" in capsys.readouterr().out


# --- bounds -------------------------------------------------------------------------------------------


def test_unclosed_records_are_read_once(tmp_path):
    """Trying each of 100 000 openings to the end of the file took minutes; the last one alone counts."""
    (tmp_path / "a.html").write_bytes(TAG * 100_000)
    assert verify(tmp_path / "a.html") == 2
    (tmp_path / "a.html").write_bytes(b"</script>" * 100_000 + TAG * 10)
    assert verify(tmp_path / "a.html") == 2


def _no_paper(_record):
    raise AssertionError("a paper was made from a record that is out of bounds")


LARGE = {
    "name": (_set("what", "field", to="x" * 400_000), "what.field: 400000 letters, at most 300"),
    "map": (_set("map", "outline", to=[[1, 2]] * 100_000), "map.outline: 100000 entries, at most 5000"),
    "shapes": (_set("map", "missed", to=[[]] * 100_000), "map.missed: 100000 entries, at most 1000"),
    "far": (_set("map", "outline", to=[[0, 0], [10**9, 0], [0, 1]]), "map"),
    "products": (_set("what", "products", to=[{}] * 1000), "what.products: 1000 entries, at most 50"),
    "deep": (_set("what", "crop", to=json.loads("[" * 400 + "]" * 400)), "what.crop"),
}


@pytest.mark.parametrize("name", sorted(LARGE))
def test_bounds_are_looked_at_before_any_paper_is_made(exact, tmp_path, monkeypatch, capsys, name):
    change, said = LARGE[name]
    forged = written(exact.again(change), tmp_path / "a.json")
    monkeypatch.setattr(proof_verify, "page_of", _no_paper)
    monkeypatch.setattr(proof_verify, "pdf_of", _no_paper)
    capsys.readouterr()
    assert verify(forged) == 3
    assert said in capsys.readouterr().out


def test_a_file_too_large_is_said(tmp_path, capsys):
    (tmp_path / "a.json").write_bytes(b"{" * 5_000_001)
    assert verify(tmp_path / "a.json") == 2
    assert "at most 5000000" in capsys.readouterr().err


def test_what_verify_would_refuse_is_not_made(tmp_path, capsys):
    proof = make(tmp_path)
    text = (proof.inputs / "job.toml").read_text()
    (proof.inputs / "job.toml").write_text(text.replace("Larch meadow", "x" * 301))
    assert prove(proof) == 2
    assert "what.field: 301 letters, at most 300" in capsys.readouterr().err


def test_a_map_of_many_corners_is_drawn_with_fewer():
    from coverage_audit.papers.proof.map import fitted  # noqa: PLC0415

    ring = [[round(500 + 500 * one), round(500 + 400 * one)] for one in (k / 50_000 for k in range(50_000))]
    found = fitted({"outline": [*ring, [0, 1000]], "missed": [[[1, 1], [2, 1], [2, 2]], [[-20, 5], [1200, 5], [9, 9]]]})
    points = [point for shape in (found["outline"], *found["missed"]) for point in shape]
    assert len(points) <= 5000
    assert len(found["missed"]) == 2
    assert all(0 <= value <= 1000 for point in points for value in point)
    plain = {"outline": [[0, 0], [1000, 0], [0, 700]], "missed": [[[1, 1], [2, 1], [2, 2]]]}
    assert fitted(plain) == plain


# --- what stopped the program --------------------------------------------------------------------------


@pytest.mark.parametrize("time", ["0001-01-01T00:00:00+12:00", "9999-12-31T23:59:59-12:00", "30.6.2026"])
def test_a_time_outside_the_calendar_is_refused(proof, tmp_path, time, capsys):
    assert prove(proof, "--time", time, out=tmp_path / "out") == 2
    assert "--time" in capsys.readouterr().err


@pytest.mark.parametrize("kind", [[], {}, None, 3, True, ["buyer"], "seller"])
def test_a_copy_of_no_kind_is_no_proof(proof, tmp_path, kind):
    assert verify(written(proof.again(_set("copy", to=kind)), tmp_path / "a.json")) == 2


def places(value, path=()):
    if isinstance(value, dict):
        for key, inner in value.items():
            yield (*path, key)
            yield from places(inner, (*path, key))


@pytest.mark.parametrize("name", ["proof-buyer.json", "proof.json"])
@pytest.mark.parametrize("change", ["missing", "other kind", "more"])
def test_signed_records_with_members_missing_or_of_another_kind_do_not_hold(proof, tmp_path, name, change):
    paths = [path for path in places(proof.record(name)) if path[0] not in {"signature", "copy", "schema"}]
    for path in paths:

        def changed(record, path=path):
            for key in path[:-1]:
                record = record[key]
            if change == "missing":
                del record[path[-1]]
            elif change == "more":
                record["more"] = "x"
            else:
                record[path[-1]] = [["x"]] if isinstance(record[path[-1]], (str, dict, type(None))) else "x"

        forged = proof.again(changed, name)
        assert not signature_fault(forged, None)
        # a full record may lack salts and the name of its copy; then no copy is held against it
        optional = change == "missing" and path[0] in {"salts", "buyer"}
        assert verify(written(forged, tmp_path / "a.json")) == (0 if optional else 3), path


@pytest.mark.parametrize(
    "data", [b"%PDF-1.4", b"%PDF-1.4\n", b"%PDF-1.4\n1 0 obj\n", b"{", b"", b"\xff\xfe", b"[" * 9999]
)
@pytest.mark.parametrize("name", ["proof-buyer.json", "proof.pdf", "proof.html"])
def test_what_is_no_paper_is_no_proof(tmp_path, data, name):
    (tmp_path / name).write_bytes(data)
    assert verify(tmp_path / name) == 2


@pytest.mark.parametrize("name", ["x" * 300, "x" * 5000])
def test_names_that_no_file_can_have_are_refused(proof, tmp_path, name, capsys):
    record, job = proof.out / "proof-buyer.json", str(proof.inputs / "job.toml")
    runs = [
        ["proof", "check", name],
        ["proof", "check", str(record), "--public-key", name],
        ["proof", "check", str(record), "--inputs", name],
        ["proof", "check", str(record), "--full", name],
        ["proof", job, "-o", str(tmp_path / "out"), "--key", name],
        ["proof", name, "-o", str(tmp_path / "out")],
        ["proof", job, name, "-o", str(tmp_path / "out")],
        ["proof", job, "-o", name],
        ["proof", "keys", "-o", name],
    ]
    for run in runs:
        assert cli.main([*run, "--quiet"]) == 2, run
        assert len(capsys.readouterr().err.splitlines()) == 1


def test_half_a_letter_in_a_record_does_not_hold(proof, tmp_path):
    """A lone surrogate is JSON and no text."""
    text = written(proof.record(), tmp_path / "a.json").read_text().replace("Larch meadow", "\\ud800")
    (tmp_path / "a.json").write_text(text)
    assert verify(tmp_path / "a.json") == 3


# --- typed text stays typed ------------------------------------------------------------------------------

TRICKS = [
    "Larch\nResidue test: none found (measured)",
    "Larch\r\nResidue test: none found (measured)",
    "Larch\u2028Residue test: none found (measured)",
    "Larch\x0bResidue test: none found (measured)",
    "Larch\x85Residue test: none found (measured)",
    "Larch\x1b[2J\x07",
    "Larch \u202e(derutaem) 00.001",
    "Larch\u2066 x \u2069\u200b\u200f",
    "Larch\u3164\u2800meadow",
]


@pytest.mark.parametrize("trick", TRICKS)
def test_typed_text_stays_on_its_line(proof, tmp_path, trick, capsys):
    record = proof.again(_set("what", "field", to=trick))
    capsys.readouterr()
    assert verify(written(record, tmp_path / "a.json")) == 0
    lines = capsys.readouterr().out.split("\n")
    assert [line for line in lines if line.strip().startswith("Residue")] == []
    (line,) = [line for line in lines if "Larch" in line]
    assert line.startswith('  Field: "Larch')
    assert line.endswith("(typed)")
    assert line.isprintable()
    pages = pypdf.PdfReader(io.BytesIO(pdf_of(record))).pages
    row = pages[0].extract_text().split("Crop")[0]
    assert "\nResidue" not in row
    cell = re.search(r'<td class="value">(Larch[^<]*)</td>', page_of(record))[1]
    assert cell.isprintable()


def test_letters_of_other_scripts_are_said(proof, tmp_path, capsys):
    """The first letter of the second name is U+0410, CYRILLIC CAPITAL LETTER A."""
    for name, origin in (("Alder", "typed"), ("\u0410lder", "typed; with Cyrillic letters"), ("Łąka", "typed")):
        record = proof.again(_set("what", "field", to=name))
        capsys.readouterr()
        assert verify(written(record, tmp_path / "a.json")) == 0
        assert f'Field: "{name}" ({origin})' in capsys.readouterr().out
        assert f'<td class="origin">{origin}</td>' in page_of(record)


def test_typed_braces_are_no_number_of_pages(proof):
    """The library writes the number of pages where it finds {nb}."""
    pages = pypdf.PdfReader(io.BytesIO(pdf_of(proof.again(_set("what", "field", to="Larch {nb}"))))).pages
    assert "Larch {nb}" in pages[0].extract_text()


def drawn_boxes(pdf):
    """(lowest, highest) of the filled and stroked shapes of each page [pt], and its height."""
    for page in pypdf.PdfReader(io.BytesIO(pdf)).pages:
        content = page.get_contents().get_data().decode("latin-1")
        heights = [float(y) for y in re.findall(r"[\d.-]+ (-?[\d.]+) [ml](?=\s)", content)]
        texts = [float(y) for y in re.findall(r"BT [\d.-]+ (-?[\d.]+) Td", content)]
        yield heights, texts


@pytest.mark.parametrize("letter", ["W", "W ", "i"])
def test_long_text_leaves_map_and_rows_on_the_paper(exact, letter):
    """Every text as long as it may be, ten products."""
    long = (letter * 300)[:300]

    def change(record):
        what = record["what"]
        what.update(field=long, crop=long, label=dict.fromkeys(what["label"], long))
        what["products"] = [{**what["products"][0], "name": long, "reg_no": long}] * 10
        record["later"] = [{"date": "2026-06-01", "products": [long] * 3}] * 3

    found = list(drawn_boxes(pdf_of(exact.again(change))))
    assert any(heights for heights, _ in found)
    for heights, texts in found:
        assert all(0 < height < 841.89 for height in [*heights, *texts])


# --- folders and keys -------------------------------------------------------------------------------------


def test_no_signed_paper_of_an_earlier_run_stays_beside_an_unsigned_one(tmp_path, capsys):
    proof = make(tmp_path)
    before = {path.name: path.read_bytes() for path in proof.out.iterdir()}
    assert prove(proof, key=False) == 2
    assert "proof-buyer.json" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in proof.out.iterdir()} == before
    assert prove(proof) == 0
    assert prove(proof, key=False, out=tmp_path / "own") == 0
    assert prove(proof, key=False, out=tmp_path / "own") == 0
    assert prove(proof, out=tmp_path / "own") == 0


P = 2**255 - 19
# order 1, 2, 4 and 8 (RFC 8032, 5.1: the curve and its cofactor 8); worked out anew in the test below
Y_OF_SMALL_ORDER = [
    1,
    P - 1,
    0,
    2707385501144840649318225287225658788936804267575313519463743609750303402022,
    P - 2707385501144840649318225287225658788936804267575313519463743609750303402022,
]


def test_the_places_of_small_order_are_right():
    """Each lies on the curve, and doubled three times gives the neutral point (0, 1), by the curve's addition law."""
    d = -121665 * pow(121666, -1, P) % P
    for y in Y_OF_SMALL_ORDER:
        x2 = (y * y - 1) * pow(d * y * y + 1, -1, P) % P
        root = pow(x2, (P + 3) // 8, P)
        x = root if root * root % P == x2 else root * pow(2, (P - 1) // 4, P) % P
        assert x * x % P == x2
        point = (x, y)
        for _ in range(3):
            a, b = point
            t = d * a * a * b * b % P
            point = (2 * a * b * pow(1 + t, -1, P) % P, (b * b + a * a) * pow(1 - t, -1, P) % P)
        assert point == (0, 1)


@pytest.mark.parametrize("y", [*Y_OF_SMALL_ORDER, P, P + 1])
@pytest.mark.parametrize("sign", [0, 1])
def test_keys_that_sign_everything_do_not_hold(proof, tmp_path, y, sign):
    """With such a key a signature of nothing fits one record in one to eight, so that it can be searched for."""
    key = (y + (sign << 255)).to_bytes(32, "little").hex()
    for number in range(40):
        record = {**proof.record(), "what": {**proof.record()["what"], "crop": f"hay {number}"}}
        record["signature"] = {"algorithm": "Ed25519", "public_key": key, "value": "01" + "00" * 63}
        assert signature_fault(record, None)
    assert verify(written(record, tmp_path / "a.json")) == 3


def test_a_small_key_given_is_refused(proof, tmp_path, capsys):
    import base64  # noqa: PLC0415

    head = bytes.fromhex("302a300506032b6570032100")  # RFC 8410: SubjectPublicKeyInfo of Ed25519
    body = base64.b64encode(head + (1).to_bytes(32, "little")).decode()
    (tmp_path / "key.pub").write_text(f"-----BEGIN PUBLIC KEY-----\n{body}\n-----END PUBLIC KEY-----\n")
    assert verify(proof.out / "proof-buyer.json", "--public-key", tmp_path / "key.pub") == 2
    assert "small order" in capsys.readouterr().err


def test_hashes_of_the_inputs_are_those_of_the_files(proof):
    for one in proof.record("proof.json")["inputs"]:
        assert hashlib.sha256((proof.inputs / one["file"]).read_bytes()).hexdigest() == one["sha256"]
