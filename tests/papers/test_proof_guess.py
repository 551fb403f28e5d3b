"""Nothing that a buyer's copy withholds can be guessed: its commitments against 100 000 likely values."""

import hashlib
import itertools
import json

import pytest
from proof_kit import make, prove

from coverage_audit.papers.proof.sign import canonical, commitment, fingerprint

COUNT = 100_000
GIVEN = ("Nino", "Tamta", "Giorgi", "Ana", "Luka", "Mariam", "Irakli", "Salome", "Davit", "Keti")
FAMILY = ("Beridze", "Lomsade", "Kapanadze", "Gelashvili", "Maisuradze", "Tsiklauri", "Giorgadze", "Lomidze")


@pytest.fixture(scope="module")
def proof(tmp_path_factory):
    return make(tmp_path_factory.mktemp("guessed"))


def likely(truth):
    """100 000 likely values, the true ones among them: people, places, moments of the day, units and widths."""
    people = (f"{one}{middle} {other}" for one in GIVEN for middle in ("", *(f" {c}." for c in "ABDGIKLMNST"))
              for other in FAMILY)  # fmt: skip
    places = (
        [f"{lat / 1e4:.6f}", f"{lon / 1e4:.6f}"] for lat in range(411000, 411200) for lon in range(-705000, -704900)
    )
    moments = ([f"2026-05-{day:02d}T{hour:02d}:{minute:02d}:{second:02d}Z"] for day in (27, 28, 29)
               for hour in range(24) for minute in range(60) for second in range(60))  # fmt: skip
    plain = ["metric", "us", "not stated", [], *(f"{tenth / 1000:.3f}" for tenth in range(5000))]
    return [
        *truth,
        *plain,
        *itertools.islice(itertools.chain(people, places, moments), COUNT - len(truth) - len(plain)),
    ]


def guessed(record, values, salts):
    """Names of the parts whose commitment is that of one of *values* under one of *salts*."""
    sealed = {one: name for name, one in record["commitments"].items()}
    written = [canonical(one) for one in values]
    found = set()
    for salt in salts:
        for one in written:
            if (digest := hashlib.sha256(salt + one).hexdigest()) in sealed:
                found.add(sealed[digest])
    return found


def test_nothing_withheld_is_guessed_from_a_hundred_thousand_likely_values(proof):
    """Salts that a buyer could think of: none, nothing, and whatever is public in the record."""
    record, full = proof.record(), proof.record("proof.json")
    truth = [*full["grower"].values(), *full["settings"].values(), *full["inputs"]]
    values = likely(truth)
    assert len(values) == COUNT
    public = bytes.fromhex(record["signature"]["public_key"])
    known = [b"", bytes(32), public, bytes.fromhex(fingerprint(record))]
    assert guessed(record, values, known) == set()
    # with the salts, which are the grower's alone, the same search finds every part
    salts = {name: bytes.fromhex(one) for name, one in full["salts"].items()}
    assert {name for name, one in salts.items() if guessed(record, truth, [one])} == set(record["commitments"])


def test_equal_values_have_other_commitments_in_every_part_and_every_proof(proof, tmp_path):
    """So that no two proofs, and no two parts, are known to say the same."""
    assert prove(proof, "--time", "2026-07-01T12:00:00Z", out=tmp_path / "again") == 0
    one = proof.record()["commitments"]
    other = json.loads((tmp_path / "again" / "proof-buyer.json").read_text(encoding="utf-8"))["commitments"]
    assert set(one) == set(other)
    assert len(set(one.values()) | set(other.values())) == 2 * len(one)


def test_salts_are_of_256_bits_and_none_stands_twice(proof):
    full = proof.record("proof.json")
    salts = full["salts"]
    assert all(len(bytes.fromhex(one)) == 32 for one in salts.values())
    assert len(set(salts.values())) == len(salts)
    for name, value in full["settings"].items():
        assert commitment(salts[f"settings/{name}"], value) == proof.record()["commitments"][f"settings/{name}"]
