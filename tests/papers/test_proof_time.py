"""When a proof was made: time stamps against openssl's own authority and checks, and notices that end a key."""

import base64
import datetime as dt
import socket

import pytest
from proof_kit import make, prove, verify
from stamp_authority import Authority, today

from coverage_audit.cli import command as cli
from coverage_audit.papers.proof.form import form_faults
from coverage_audit.papers.proof.page import made_words
from coverage_audit.papers.proof.sign import record_text, sign, sign_detached, signature_fault
from coverage_audit.papers.proof.stamp import stamp_fault, stamped_bytes

MADE = dt.date(2026, 6, 30)
"""Day of the proofs of ``proof_kit``."""


@pytest.fixture(scope="module")
def authority(tmp_path_factory):
    with Authority(tmp_path_factory.mktemp("authority")) as found:
        yield found


@pytest.fixture(scope="module")
def stamped(authority, tmp_path_factory):
    return make(tmp_path_factory.mktemp("stamped"), "--stamp", authority.address)


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    return make(tmp_path_factory.mktemp("plain"))


def written(record, path):
    path.write_text(record_text(record), encoding="utf-8")
    return path


# --- time stamps -----------------------------------------------------------------------------------


def test_a_stamp_holds_by_the_command_and_by_openssl(stamped, authority, capsys):
    for name in ("proof.pdf", "proof.html", "proof-buyer.json"):
        capsys.readouterr()
        assert verify(stamped.out / name, "--stamp-certificates", authority.root) == 0
        told = capsys.readouterr().out
        assert f"A time stamp holds: this was there at {today()}" in told
        assert "CN=Stamp office of the tests" in told
    record = stamped.record()
    assert authority.verified(stamped_bytes(record), base64.b64decode(record["time_stamp"]["token"]))
    assert not authority.verified(b"another", base64.b64decode(record["time_stamp"]["token"]))


@pytest.mark.usefixtures("stamped")
def test_the_service_gets_a_hash_and_nothing_else(authority):
    """RFC 3161, section 2.4.1: version, imprint (a hash), nonce and whether certificates are wanted."""
    (request, *_) = authority.asked
    assert len(request) < 80
    for name in (b"Larch", b"Larkmoor", b"Beridze"):
        assert name not in request


def test_without_certificates_the_stamp_is_told_unchecked(stamped, capsys):
    assert verify(stamped.out / "proof.pdf") == 0
    assert "which was not checked: give the service's certificates" in capsys.readouterr().out


def test_without_a_stamp_the_paper_says_its_time_is_the_sellers_word(plain, capsys):
    assert made_words(plain.record()) == "2026-06-30, by the seller's own clock: the seller's word."
    assert verify(plain.out / "proof.pdf") == 0
    assert "When it was made is the seller's word alone" in capsys.readouterr().out


def test_certificates_without_a_stamp_do_not_hold(plain, authority, capsys):
    assert verify(plain.out / "proof.pdf", "--stamp-certificates", authority.root) == 3
    assert "there is no time stamp on this record" in capsys.readouterr().out


def test_another_authority_does_not_hold(stamped, tmp_path, capsys):
    other = Authority(tmp_path / "other")
    assert verify(stamped.out / "proof.pdf", "--stamp-certificates", other.root) == 3
    assert "does not hold under the certificates given" in capsys.readouterr().out
    (tmp_path / "none.pem").write_text("no certificate")
    assert verify(stamped.out / "proof.pdf", "--stamp-certificates", tmp_path / "none.pem") == 3


def test_nobody_takes_a_stamp_off_or_exchanges_it(stamped, plain, authority, tmp_path):
    """Whoever has no key: he has the record and may ask the service himself."""
    record = stamped.record()
    bare = {key: value for key, value in record.items() if key != "time_stamp"}
    later = {**record["time_stamp"], "token": base64.b64encode(authority.answer(authority.asked[0])).decode()}
    lent = {**plain.record(), "time_stamp": record["time_stamp"]}
    backdated = {**record, "time_stamp": {**record["time_stamp"], "time": "2026-07-01T00:00:00Z"}}
    for number, forged in enumerate((bare, {**record, "time_stamp": later}, lent, backdated)):
        assert verify(written(forged, tmp_path / f"{number}.json")) == 3, number


def signed_anew(proof, token, time):
    """The seller's own record with any token and time, both signed by him."""
    record = {key: value for key, value in proof.record().items() if key not in {"signature", "time_stamp"}}
    record = sign(record, proof.key, "key")
    stamp = {"token": token, "time": time}
    value = sign_detached({**record, "time_stamp": stamp}, proof.key, "key")
    return {**record, "time_stamp": {**stamp, "value": value}}


def test_a_seller_bends_no_stamp(stamped, authority, tmp_path, capsys):
    """Another time beside the token; the token of another record; what is no token: all signed by the seller."""
    own = stamped.record()["time_stamp"]
    strange = base64.b64encode(authority.answer(authority.asked[0])[:-9]).decode()
    for token, time, why in (
        (own["token"], "2026-07-01T00:00:00Z", "another time"),
        (strange, own["time"], "not on this record"),
        ("AAAA", own["time"], "not on this record"),
    ):
        forged = signed_anew(stamped, token, time)
        assert form_faults(forged) == []
        assert signature_fault(forged, None) == stamp_fault(forged) == ""
        assert verify(written(forged, tmp_path / "a.json"), "--stamp-certificates", authority.root) == 3
        assert why in capsys.readouterr().out


def test_a_service_that_fails_or_answers_something_else_makes_no_proof(plain, authority, tmp_path, monkeypatch, capsys):
    with socket.socket() as free:  # bound and not listening: nobody answers there
        free.bind(("127.0.0.1", 0))
        silent = f"http://127.0.0.1:{free.getsockname()[1]}/"
        for address, why in (("ftp://time.example", "not the address"), (silent, "does not answer")):
            assert prove(plain, "--stamp", address, out=tmp_path / "out") == 2
            assert why in capsys.readouterr().err
    for answer in (b"", b"nonsense", authority.answer(authority.asked[0])):  # the last: of another request
        monkeypatch.setattr(authority, "answer", lambda _request, answer=answer: answer)
        assert prove(plain, "--stamp", authority.address, out=tmp_path / "out") == 2
        assert "no time stamp on this record" in capsys.readouterr().err
        monkeypatch.undo()
    assert not (tmp_path / "out").exists()


def test_no_network_is_used_unless_asked(plain, tmp_path, monkeypatch):
    def refuse(*_given, **_named):
        raise AssertionError("a network was used")

    monkeypatch.setattr(socket, "socket", refuse)
    monkeypatch.setattr(socket, "create_connection", refuse)
    assert prove(plain, out=tmp_path / "out") == 0
    assert verify(tmp_path / "out" / "proof.pdf") == 0


def test_a_day_that_is_still_to_come_is_told(plain, tmp_path, capsys):
    """The seller writes any day he likes."""
    assert prove(plain, "--time", "2999-01-01T00:00:00Z", out=tmp_path / "out") == 0
    assert verify(tmp_path / "out" / "proof.pdf") == 0
    assert "2999-01-01, is still to come: do not go by it" in capsys.readouterr().out
    assert verify(plain.out / "proof.pdf") == 0
    assert ("still to come" in capsys.readouterr().out) == (today() < MADE)


# --- keys that have ended --------------------------------------------------------------------------


def ended(proof, folder, day):
    """The notice that the key of *proof* ends on *day*."""
    run = ["proof", "end", "--key", str(proof.keys / "seller.private"), "--from", str(day), "-o", str(folder)]
    assert cli.main([*run, "--quiet"]) == 0
    return folder / "key-ended.json"


@pytest.mark.parametrize(("days", "code"), [(-1, 3), (0, 3), (1, 0), (400, 0)])
def test_a_key_that_has_ended_signs_nothing_from_that_day_on(plain, tmp_path, capsys, days, code):
    notice = ended(plain, tmp_path, MADE + dt.timedelta(days))
    capsys.readouterr()
    assert verify(plain.out / "proof.pdf", "--ended", notice, "--public-key", plain.public) == code
    told = capsys.readouterr().out
    if code:
        assert "by a notice that it signed itself; this was made on 2026-06-30" in told
    else:
        assert told.startswith(f"HOLDS IF YOU HAD IT BEFORE {MADE + dt.timedelta(days)}")
        assert "which a thief could say too" in told


def test_a_stamp_shows_that_a_proof_is_older_than_the_end(stamped, authority, tmp_path, capsys):
    late = ended(stamped, tmp_path / "late", today() + dt.timedelta(5))
    early = ended(stamped, tmp_path / "early", today())
    run = (stamped.out / "proof.pdf", "--stamp-certificates", authority.root)
    assert verify(*run, "--ended", late) == 0
    told = capsys.readouterr().out
    assert told.startswith("HOLDS: ")
    assert "the time stamp shows that this was made before" in told
    assert verify(*run, "--ended", early) == 3
    # the earliest notice counts, whichever is given first
    assert verify(*run, "--ended", late, "--ended", early) == 3


def test_a_notice_of_another_key_changes_nothing(plain, stamped, tmp_path, capsys):
    notice = ended(stamped, tmp_path, "2020-01-01")
    assert verify(plain.out / "proof.pdf", "--ended", notice) == 0
    assert capsys.readouterr().out.startswith("HOLDS: ")


def test_what_is_no_notice_is_refused(plain, stamped, tmp_path, capsys):
    text = ended(plain, tmp_path, "2026-08-01").read_text(encoding="utf-8")
    other = stamped.record()["signature"]["public_key"]
    own = plain.record()["signature"]["public_key"]
    for number, forged in enumerate((
        text.replace("2026-08-01", "2026-09-01"),
        text.replace(own, other),
        text + " ",
        text.replace('"from"', '"from": "2026-09-01",\n "from"'),
        (plain.out / "proof-buyer.json").read_text(encoding="utf-8"),
        "{}",
        "",
    )):  # fmt: skip
        path = tmp_path / f"{number}.json"
        path.write_text(forged, encoding="utf-8")
        assert verify(plain.out / "proof.pdf", "--ended", path) == 2, number
        assert "no notice that a key has ended" in capsys.readouterr().err


def test_a_notice_is_never_replaced_and_its_day_is_one(plain, tmp_path, capsys):
    ended(plain, tmp_path, "2026-08-01")
    key = ["--key", str(plain.keys / "seller.private"), "-o", str(tmp_path)]
    assert cli.main(["proof", "end", *key, "--from", "2026-09-01"]) == 2
    assert cli.main(["proof", "end", *key[:2], "-o", str(tmp_path / "new"), "--from", "soon"]) == 2
    assert '"soon" is not a date' in capsys.readouterr().err
