"""Coverage proofs: records, signatures, papers, privacy, refusals, and the verdict a buyer gets."""

import copy
import io
import json
import re
import shutil
import stat
import subprocess
import zlib
from pathlib import Path

import fpdf
import pypdf
import pypdfium2
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs import FIELD_100_X_60, job, log, parallel_passes, worked_job

from coverage_audit.cli import command as cli
from coverage_audit.errors import InputError
from coverage_audit.jobs.settings import ProofSettings, RateSettings
from coverage_audit.papers.application.laws import EU, US
from coverage_audit.papers.proof import record as proof_record
from coverage_audit.papers.proof.again import full_faults
from coverage_audit.papers.proof.figures import figures
from coverage_audit.papers.proof.layout import DONE, INSET, wrapped
from coverage_audit.papers.proof.page import page_of, rows_of
from coverage_audit.papers.proof.pdf import pdf_of, record_in_pdf
from coverage_audit.papers.proof.record import buyer_record, grower_record, refuse
from coverage_audit.papers.proof.sign import (
    canonical,
    fingerprint,
    key_number,
    number,
    parse_strict,
    public_hex,
    sign,
    signature_fault,
    signed_part,
)
from coverage_audit.papers.proof.verify import faults
from coverage_audit.recipe.audit import audit_job

FIXTURE = Path(__file__).parents[2] / "fixtures" / "one_pass_off"
TIME = "2026-06-30T12:00:00Z"
# RFC 8032, section 7.1, tests 1 to 3: secret key, public key, message, signature
RFC_8032 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
]


@pytest.fixture(scope="module")
def keys(tmp_path_factory):
    folder = tmp_path_factory.mktemp("keys")
    assert cli.main(["proof", "keys", "-o", str(folder), "--quiet"]) == 0
    return folder


@pytest.fixture(scope="module")
def made(keys, tmp_path_factory):
    """Folder of a signed proof of the worked job, with its inputs."""
    folder = tmp_path_factory.mktemp("proof")
    inputs = folder / "inputs"
    shutil.copytree(FIXTURE, inputs)
    with (inputs / "job.toml").open("a") as file:
        file.write(
            '[proof]\nfield_name = "Larch meadow"\napplicator = "Nino Beridze"\nfeeding = "not before 7 days <b>"\n'
            '[[product]]\nname = "Larkmoor 200 SL"\nreg_no = "0000-11"\nrate = "1.2 L/ha"\nphi = "30 days"\n'
        )
    run = ["proof", str(inputs / "job.toml"), "-o", str(folder / "out"), "--key", str(keys / "seller.private")]
    assert cli.main([*run, "--time", TIME, "--quiet"]) == 0
    return folder


def buyer_of(made):
    return parse_strict((made / "out" / "proof-buyer.json").read_text())


def verify(*arguments):
    return cli.main(["proof", "check", *map(str, arguments), "--quiet"])


# --- records and signatures -----------------------------------------------------------------------


@pytest.mark.parametrize(("secret", "public", "message", "signature"), RFC_8032)
def test_ed25519_is_that_of_rfc_8032(secret, public, message, signature):
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey  # noqa: PLC0415

    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert key.public_key().public_bytes_raw().hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == signature


def test_canonical_json_is_that_of_rfc_8785():
    """Sections 3.2.2 and 3.2.3 (numbers, strings, literals; sorting by UTF-16) of the RFC."""
    text = r'{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],"literals":[null,true,false]}'
    wanted = '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27]}'
    assert canonical(json.loads(text)) == wanted.encode()
    assert canonical({"\u20ac": 1, "\r": 2, "1": 3, "\u00f6": 4}).decode() == '{"\\r":2,"1":3,"\u00f6":4,"\u20ac":1}'


def test_openssl_agrees_with_the_signature(made, keys, tmp_path):
    """An independent tool: openssl pkeyutl -verify over the canonical bytes."""
    record = buyer_of(made)
    (tmp_path / "message").write_bytes(canonical(signed_part(record)))
    (tmp_path / "signature").write_bytes(bytes.fromhex(record["signature"]["value"]))
    command = ["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", str(keys / "seller.public"), "-rawin"]
    command += ["-in", str(tmp_path / "message"), "-sigfile", str(tmp_path / "signature")]
    assert subprocess.run(command, capture_output=True, check=False).returncode == 0
    (tmp_path / "message").write_bytes(canonical(signed_part(record)) + b" ")
    assert subprocess.run(command, capture_output=True, check=False).returncode != 0


def leaves(value, path=()):
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, (*path, key))
    elif isinstance(value, list):
        for place, inner in enumerate(value):
            yield from leaves(inner, (*path, place))
    else:
        yield path


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_any_single_change_fails_and_another_order_of_keys_does_not(made, data):
    record = buyer_of(made)
    path = data.draw(st.sampled_from(sorted(leaves(record), key=str)))
    changed = copy.deepcopy(record)
    holder = changed
    for key in path[:-1]:
        holder = holder[key]
    old = holder[path[-1]]
    holder[path[-1]] = data.draw(
        st.one_of(st.text(max_size=5), st.integers(0, 9), st.none()).filter(lambda new: new != old)
    )
    assert signature_fault(changed, None)
    assert not signature_fault(dict(reversed(list(record.items()))), None)


@pytest.mark.parametrize("text", ['{"a": 1, "a": 2}', '{"a": NaN}', '{"a": Infinity}', "[1]", "{"])
def test_what_is_not_strict_json_is_refused(text):
    with pytest.raises(ValueError, match=r".+"):
        parse_strict(text)


def test_members_that_nobody_signed_are_refused(made, keys):
    record = buyer_of(made)
    record["signature"]["note"] = "x"
    assert signature_fault(record, None)
    key = (keys / "seller.private").read_text()
    assert faults(sign({**buyer_of(made), "extra": "1"}, key, "key"), None, {})


def test_a_number_is_the_last_digits_of_a_hash():
    """Key of RFC 8032, test 1: its hash by openssl dgst, the decimal digits of that by another program (perl)."""
    assert number("00" * 31 + "ff") == "0000 0000 0000 0000 0000 0255"
    assert key_number(RFC_8032[0][1]) == "5613 1181 6579 4202 4304 2745"


# --- keys and files -------------------------------------------------------------------------------


def test_private_files_are_their_owners_alone(keys, made):
    for file in (keys / "seller.private", keys / "seller.salts", made / "out" / "proof.json"):
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert cli.main(["proof", "keys", "-o", str(keys), "--quiet"]) == 2  # a key is never written over


def test_the_same_proof_is_the_same_bytes(made, keys, tmp_path):
    run = ["proof", str(made / "inputs" / "job.toml"), "-o", str(tmp_path), "--key", str(keys / "seller.private")]
    assert cli.main([*run, "--time", TIME, "--quiet"]) == 0
    for file in (made / "out").iterdir():
        assert file.read_bytes() == (tmp_path / file.name).read_bytes(), file.name


def test_without_a_key_there_is_no_buyers_copy(made, tmp_path, capsys):
    assert cli.main(["proof", str(made / "inputs" / "job.toml"), "-o", str(tmp_path)]) == 0
    assert {file.name for file in tmp_path.iterdir()} == {".coverage-audit.json", "proof.json", "proof.html"}
    assert "NOT SIGNED" in (tmp_path / "proof.html").read_text()
    assert "no buyer's copy" in capsys.readouterr().out
    assert verify(tmp_path / "proof.json") == 3


def test_a_key_is_known_by_its_number(made, keys, capsys):
    """As it was printed when the key was made, as it stands on the paper, and in any grouping."""
    digits = key_number(public_hex((keys / "seller.public").read_text(), "key"))
    paper = pypdf.PdfReader(io.BytesIO((made / "out" / "proof.pdf").read_bytes()))
    assert digits in " ".join(page.extract_text() for page in paper.pages)
    run = ["proof", "check", str(made / "out" / "proof.pdf"), "--key-number"]
    for typed in (digits, digits.replace(" ", ""), digits.replace(" ", "-")):
        assert cli.main([*run, typed]) == 0
        assert "Signed by the key you gave" in capsys.readouterr().out
    other = ("1" if digits[0] != "1" else "2") + digits[1:]
    assert cli.main([*run, other]) == 3
    assert "another key than the one with the number given" in capsys.readouterr().out
    assert cli.main([*run, digits[:-1]]) == 2
    assert "24 digits" in capsys.readouterr().err


def test_making_keys_prints_their_number(tmp_path, capsys):
    assert cli.main(["proof", "keys", "-o", str(tmp_path)]) == 0
    assert f"key: {key_number(public_hex((tmp_path / 'seller.public').read_text(), 'key'))}" in capsys.readouterr().out


def test_old_names_work_and_say_the_new_ones(made, tmp_path, capsys):
    assert cli.main(["keygen", "-o", str(tmp_path), "--quiet"]) == 0
    assert '"keygen" is now "proof keys"' in capsys.readouterr().err
    assert cli.main(["proof", "keys", "-o", str(tmp_path), "--quiet"]) == 2  # one folder, one key
    key = str(tmp_path / "coverage-audit.key")
    run = ["proof", str(made / "inputs" / "job.toml"), "-o", str(tmp_path / "out"), "--key", key, "--time", TIME]
    assert cli.main([*run, "--quiet"]) == 0
    paper = str(tmp_path / "out" / "proof.pdf")
    capsys.readouterr()
    assert cli.main(["verify", paper, "--public-key", str(tmp_path / "coverage-audit.pub")]) == 0
    told = capsys.readouterr()
    assert '"verify" is now "proof check"' in told.err
    assert told.out.startswith("HOLDS: proof.pdf\nSigned by the key you gave.")
    assert cli.main(["verify", str(tmp_path / "nothing.json")]) == 2
    refused = capsys.readouterr().err  # a refusal is one line, under an old name too
    assert refused.count("\n") == 1
    assert "nothing.json" in refused


def test_a_log_that_ends_after_the_proof_was_made_proves_nothing(made, tmp_path, capsys):
    job = str(made / "inputs" / "job.toml")
    start = buyer_of(made)["what"]["date"]
    assert cli.main(["proof", job, "-o", str(tmp_path), "--time", f"{start}T00:00:00Z"]) == 2
    assert "after the proof is made" in capsys.readouterr().err


# --- check -----------------------------------------------------------------------------------------


def test_a_buyer_gets_a_verdict_in_one_command(made, keys, capsys):
    papers = made / "out"
    run = ["proof", "check", str(papers / "proof-buyer.json"), "--public-key", str(keys / "seller.public")]
    assert cli.main(run) == 0
    assert "Signed by the key you gave" in capsys.readouterr().out
    for name in ("proof.html", "proof.pdf"):
        assert cli.main(["proof", "check", str(papers / name)]) == 0
        assert "compare this number of the key" in capsys.readouterr().out
    assert verify(papers / "proof-buyer.json", "--inputs", made / "inputs") == 0
    assert verify(papers / "proof-buyer.json", "--full", papers / "proof.json") == 0
    assert verify(made / "inputs" / "job.toml") == 2


def test_another_key_does_not_hold(made, tmp_path):
    assert cli.main(["proof", "keys", "-o", str(tmp_path), "--quiet"]) == 0
    assert verify(made / "out" / "proof-buyer.json", "--public-key", tmp_path / "seller.public") == 3


@pytest.mark.parametrize("name", ["proof.html", "proof.pdf"])
def test_a_changed_paper_is_caught(made, tmp_path, name, capsys):
    papers = shutil.copytree(made / "out", tmp_path / "out")
    data = (papers / name).read_bytes()
    (papers / name).write_bytes(data[:-30] + bytes([data[-30] ^ 1]) + data[-29:])
    assert cli.main(["proof", "check", str(papers / "proof-buyer.json")]) == 3
    assert f"{name} is not the paper of this record" in capsys.readouterr().out


def test_a_changed_page_is_caught_under_any_name(made, tmp_path):
    """A buyer who was sent the page alone, saved it under another name, and whose share was changed on the way."""
    page = (made / "out" / "proof.html").read_text()
    share = buyer_of(made)["figures"]["proven_share"]["value"]
    shown, data = page.split('<script type="application/json"')
    (tmp_path / "meadow.html").write_text(page)
    assert verify(tmp_path / "meadow.html") == 0
    (tmp_path / "meadow.html").write_text(shown.replace(share, "99.99") + '<script type="application/json"' + data)
    assert verify(tmp_path / "meadow.html") == 3


def test_a_paper_alone_is_enough(made, keys, tmp_path, capsys):
    """A buyer who was sent the PDF and nothing else; its text changed on the way; its record taken out."""
    paper = tmp_path / "from the seller.pdf"
    whole = (made / "out" / "proof.pdf").read_bytes()
    paper.write_bytes(whole)
    assert verify(paper, "--public-key", keys / "seller.public") == 0
    shown, changed = b"Larch meadow) Tj", b"Birch meadow) Tj"
    assert shown in whole
    paper.write_bytes(whole.replace(shown, changed))
    assert cli.main(["proof", "check", str(paper)]) == 3
    assert "from the seller.pdf is not the paper of this record" in capsys.readouterr().out
    paper.write_bytes(whole.replace(b"proof-buyer.json", b"something-else.c"))
    assert verify(paper) == 3
    paper.write_bytes(whole.replace(b"/Type /EmbeddedFile", b"/Type /SomethingElse"))
    assert cli.main(["proof", "check", str(paper)]) == 2
    assert "does not hold one record" in capsys.readouterr().err
    paper.write_bytes(whole[: len(whole) // 3])
    assert verify(paper) == 2


def test_a_changed_record_inside_a_paper_is_caught(made, tmp_path, capsys):
    paper = tmp_path / "proof.pdf"
    whole = (made / "out" / "proof.pdf").read_bytes()
    share = f'"value": "{buyer_of(made)["figures"]["proven_share"]["value"]}"'.encode()
    assert share in whole
    paper.write_bytes(whole.replace(share, b'"value": "99.99"'))
    assert cli.main(["proof", "check", str(paper)]) == 3
    assert "the signature does not fit" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["saved.htm", "saved.json", "saved"])
def test_a_page_is_known_by_what_it_holds_and_not_by_its_name(made, tmp_path, name):
    page = (made / "out" / "proof.html").read_bytes()
    (tmp_path / name).write_bytes(page)
    assert verify(tmp_path / name) == 0
    (tmp_path / name).write_bytes(page.replace(b'<td class="value">Larch meadow', b'<td class="value">Birch meadow'))
    assert verify(tmp_path / name) == 3


def test_a_paper_around_the_growers_record_is_no_proof(made, tmp_path, capsys):
    """Its record is signed, but nothing could be held against what the page shows."""
    page = (made / "out" / "proof.html").read_text()
    full = json.dumps(json.loads((made / "out" / "proof.json").read_text())).replace("<", "\\u003c")
    shown, rest = page.split('<script type="application/json" id="record">')
    forged = f'{shown}<script type="application/json" id="record">{full}</script>{rest.split("</script>")[1]}'
    (tmp_path / "proof.html").write_text(forged.replace("Larch meadow", "Birch meadow", 1))
    assert cli.main(["proof", "check", str(tmp_path / "proof.html")]) == 2
    assert "only ever made from a buyer's copy" in capsys.readouterr().err


def test_only_a_buyers_copy_is_held_against_the_full_record(made):
    full = made / "out" / "proof.json"
    assert verify(full) == 0
    assert verify(full, "--full", full) == 2


def test_other_library_versions_are_said(made, monkeypatch, capsys):
    run = ["proof", "check", str(made / "out" / "proof-buyer.json"), "--inputs", str(made / "inputs")]
    assert cli.main(run) == 0
    assert "every figure the same to its last digit" in capsys.readouterr().out
    monkeypatch.setattr(proof_record, "software", dict)
    assert cli.main(run) == 0
    assert "with other library versions: every figure within 0.02 %" in capsys.readouterr().out


def test_other_inputs_are_caught(made, tmp_path, capsys):
    inputs = shutil.copytree(made / "inputs", tmp_path / "in")
    text = (inputs / "job.toml").read_text()
    (inputs / "job.toml").write_text(re.sub(r'width = "[^"]*"', 'width = "9.8 m"', text))
    assert cli.main(["proof", "check", str(made / "out" / "proof-buyer.json"), "--inputs", str(inputs)]) == 3
    assert "the record says" in capsys.readouterr().out


def test_another_full_record_is_caught(made):
    full = parse_strict((made / "out" / "proof.json").read_text())
    assert not full_faults(buyer_of(made), full)
    full["grower"]["operator"] = "somebody else"
    assert full_faults(buyer_of(made), full) == ["grower/operator is not what the buyer's copy is committed to"]


# --- figures and refusals ----------------------------------------------------------------------------


def test_a_touch_up_joins_the_proof():
    """Worked job: 100 m2 missed between x = 20 and 21; a later pass over x = 18 to 28 heals all of it."""
    first = audit_job(worked_job(10.0))
    times, points, on = parallel_passes([23.0], 0.0, 100.0)
    later = audit_job(job(log(times + 90_000, points), [(a + 90_000, b + 90_000) for a, b in on], FIELD_100_X_60))
    found = figures([first, later], None)
    assert float(found["missed_first_m2"]["value"]) == pytest.approx(100, abs=0.6)
    assert float(found["missed_left_m2"]["value"]) == pytest.approx(0, abs=0.6)
    assert float(found["proven_share"]["value"]) == pytest.approx(100, abs=0.01)


def test_what_all_jobs_laid_counts_against_the_intended_rate():
    """Worked job at 15 L/min, 2.5 m/s and 10 m: 100 L/ha, 100 of 5 900 m2 twice.

    A later pass over x = 18 to 28 lays as much again on 900 m2 that had theirs, and on 100 m2 that had none.
    """
    rate = RateSettings(flow_l_min=15.0, target_l_ha=100.0)
    first = audit_job(worked_job(10.0, rate=rate))
    alone = float(figures([first], None)["within_10pct_share"]["value"])
    assert alone == pytest.approx(100 * 5800 / 5900, abs=0.3)  # the boom's first and last metre at 10 Hz
    times, points, on = parallel_passes([23.0], 0.0, 100.0)
    both = [(a + 90_000, b + 90_000) for a, b in on]
    later = audit_job(job(log(times + 90_000, points), both, FIELD_100_X_60, rate=rate))
    share = figures([first, later], None)["within_10pct_share"]["value"]
    assert float(share) == pytest.approx(100 * 5000 / 6000, abs=0.3)
    unknown = audit_job(job(log(times + 90_000, points), both, FIELD_100_X_60))
    assert figures([first, unknown], None)["within_10pct_share"]["value"] is None


def test_figures_have_so_many_decimals():
    found = figures([audit_job(worked_job(10.0))], None)
    assert re.fullmatch(r"\d+\.\d", found["proven_m2"]["value"])
    assert re.fullmatch(r"\d+\.\d\d", found["proven_share"]["value"])


def test_no_proof_from_what_is_not_sure():
    audit = audit_job(worked_job(10.0))
    refuse([audit], ProofSettings(), TIME)
    areas, checks = audit.area_m2, audit.checks
    replace = copy.replace if hasattr(copy, "replace") else __import__("dataclasses").replace
    bridged = replace(audit, area_m2=replace(areas, bridged=0.011 * areas.target))
    for bad, said in (
        (replace(audit, checks=replace(checks, ok=False)), "sums do not close"),
        (replace(audit, assumed=object()), "assumed"),
        (bridged, "bridging gaps"),
    ):
        with pytest.raises(InputError, match=said):
            refuse([bad], ProofSettings(), TIME)
    refuse([bridged], ProofSettings(max_bridged=0.02), TIME)


# --- privacy and papers -------------------------------------------------------------------------------


def streams(pdf):
    found = [pdf]
    for match in re.finditer(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL):
        try:
            found.append(zlib.decompress(match[1]))
        except zlib.error:
            found.append(match[1])
    return b"\n".join(found).decode("latin-1")


@pytest.mark.parametrize("place", ["blurred", "none"])
def test_the_buyers_files_give_nothing_away(made, keys, tmp_path, place):
    run = ["proof", str(made / "inputs" / "job.toml"), "-o", str(tmp_path), "--key", str(keys / "seller.private")]
    assert cli.main([*run, "--time", TIME, "--place", place, "--quiet"]) == 0
    full = json.loads((tmp_path / "proof.json").read_text())
    secret = [*full["grower"]["start"], *full["grower"]["end"], "Nino Beridze", "12:00:00"]
    secret += [text[:-2] for point in full["grower"]["outline"] for text in point]
    secret += [one["sha256"] for one in full["inputs"]] + [one["file"] for one in full["inputs"]]
    secret += [time[11:16] for time in full["grower"]["start"]]
    for name in ("proof-buyer.json", "proof.html", "proof.pdf"):
        data = (tmp_path / name).read_bytes()
        text = streams(data) if name.endswith("pdf") else data.decode()
        assert [one for one in secret if one in text] == [], name
    assert json.loads((tmp_path / "proof-buyer.json").read_text())["figures"]["target_m2"]["unit"] == "ha"


def test_the_pdf_is_a_document_whose_text_can_be_selected(made):
    paper = pypdf.PdfReader(io.BytesIO((made / "out" / "proof.pdf").read_bytes()))
    assert len(paper.pages) <= 2
    assert paper.metadata.title == "Proof of spray coverage"
    assert paper.trailer["/Root"]["/Lang"] == "en"
    text = " ".join(page.extract_text() for page in paper.pages)
    for words in ("Larch meadow", "Larkmoor 200 SL", "not a residue test", number(fingerprint(buyer_of(made)))):
        assert words in text


def test_the_printed_code_is_read_like_a_phone_does(made):
    """Read from the drawn page by a library made for it (zxing-cpp)."""
    sheets = pypdfium2.PdfDocument((made / "out" / "proof.pdf").read_bytes())
    pictures = [sheet.render(scale=2).to_numpy() for sheet in sheets]  # 144 dots an inch: a poor print
    codes = [code.text for picture in pictures for code in zxingcpp.read_barcodes(picture)]
    assert [one.lower() for one in codes] == [fingerprint(buyer_of(made))]


def test_names_of_figures_fit_their_room(made):
    for name, _, _ in rows_of(buyer_of(made)):
        assert wrapped(name, "", 900, DONE[0][0] - 2 * INSET) == [name]


def test_lines_are_as_wide_as_the_library_says():
    """Widths from the font metrics of fpdf2; no line leaves room for the next word."""
    paper = fpdf.FPDF(unit="pt")
    paper.set_font("Helvetica", "", 9)
    words = "Larkmoor 200 SL (registration 0000-11), sprayed at 1.2 L/ha on a meadow of oat hay. " * 5
    lines = wrapped(words.strip(), "", 900, 20_000)
    assert " ".join(lines) == words.strip()
    widths = [paper.get_string_width(line) for line in lines]
    assert max(widths) <= 200
    for wide, line in zip(widths, lines[1:], strict=False):
        assert wide + paper.get_string_width(" " + line.split()[0]) > 200
    long = wrapped("W" * 300, "", 900, 20_000)
    assert "".join(long) == "W" * 300
    assert max(paper.get_string_width(line) for line in long) <= 200


def test_letters_that_the_pdf_lacks_lose_their_marks(made):
    record = copy.deepcopy(buyer_of(made))
    record["what"]["field"] = "Łąka świerków, Größe"
    text = pypdf.PdfReader(io.BytesIO(pdf_of(record))).pages[0].extract_text()
    assert "?aka swierków, Größe" in text  # the l with a stroke is a letter of its own
    assert json.loads(record_in_pdf(pdf_of(record)))["what"]["field"] == "Łąka świerków, Größe"


def test_the_page_loads_nothing_and_escapes_names(made):
    page = (made / "out" / "proof.html").read_text()
    assert "<b>" not in page
    assert not re.search(r'(?:src|href)="', page)


def test_papers_are_made_of_the_record_alone(made):
    record = buyer_of(made)
    assert page_of(record).encode() == (made / "out" / "proof.html").read_bytes()
    assert pdf_of(record) == (made / "out" / "proof.pdf").read_bytes()


def test_record_fields_are_there_or_named_as_missing():
    """The fields of the application record, whose own test has their sources."""
    full = grower_record([audit_job(worked_job(10.0))], TIME)["grower"]
    assert set(full["record_7_cfr_110_3"]) == {one.name for one in US.fields}
    assert set(full["record_eu_2023_564"]) == {one.name for one in EU.fields}
    assert full["record_7_cfr_110_3"]["certificate"] == "not stated"
    assert full["record_7_cfr_110_3"]["size_of_area"] == "0.59 ha"


def test_an_exact_copy_shows_the_place_only_when_asked():
    audit = audit_job(worked_job(10.0))
    full = grower_record([audit], TIME)
    assert buyer_record(full, audit, "exact", "00" * 32)["map"]["missed"]
    assert buyer_record(full, audit, "none", "00" * 32)["map"] == {"outline": [], "missed": []}


def test_a_public_key_is_read_from_pem(keys):
    assert re.fullmatch(r"[0-9a-f]{64}", public_hex((keys / "seller.public").read_text(), "key"))
    with pytest.raises(InputError, match="Ed25519"):
        public_hex("nothing", "key")
