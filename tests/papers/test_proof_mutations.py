"""Thousands of changed papers, and none holds: any byte that is not as it was written counts, blanks included."""

import itertools
import random
import re

import pytest
from proof_kit import make, verify

from coverage_audit.papers.proof import verify as proof_verify
from coverage_audit.papers.proof.sign import record_text

PAPERS = ("proof.html", "proof.pdf", "proof-buyer.json")
QUICK, MANY = 200, 10_000


@pytest.fixture(scope="module")
def proofs(tmp_path_factory):
    """Three sellers' papers by name: two places, and another field."""
    makings = [(), ("--place", "exact"), ()]
    stated = ["", '[proof]\nfield_name = "Larch meadow"\n', '[proof]\nfield_name = "Birch meadow"\n']
    made = [make(tmp_path_factory.mktemp("made"), *how, stated=text) for how, text in zip(makings, stated, strict=True)]
    return [{name: (proof.out / name).read_bytes() for name in PAPERS} for proof in made]


@pytest.fixture(autouse=True)
def drawn_once(monkeypatch):
    """Keep the PDF of each record that is asked for: it is the same bytes every time, as another test shows."""
    drawn, pdf_of = {}, proof_verify.pdf_of

    def kept(record):
        text = record_text(record)
        if text not in drawn:
            drawn[text] = pdf_of(record)
        return drawn[text]

    monkeypatch.setattr(proof_verify, "pdf_of", kept)


def flip(rng, data, _other):
    """One bit."""
    place = rng.randrange(len(data))
    return data[:place] + bytes([data[place] ^ (1 << rng.randrange(8))]) + data[place + 1 :]


def digit(rng, data, _other):
    """One digit of a figure becomes another: what a forger wants."""
    place = rng.choice([found.start() for found in re.finditer(rb"[0-9]", data)] or [0])
    return data[:place] + bytes([rng.choice(b"0123456789")]) + data[place + 1 :]


def insert(rng, data, _other):
    place = rng.randrange(len(data) + 1)
    more = rng.choice([b" ", b"\n", b"\0", b"\xef\xbb\xbf", b"{", b"%", b"<b>", b"100.00 %", rng.randbytes(5)])
    return data[:place] + more + data[place:]


def at_an_end(rng, data, other):
    more = rng.choice([b" ", b"\n", b"\r", b"\0", b"{", b"%PDF-1.4\n", b"<h1>100.00 %</h1>", b"%%EOF\n", other])
    return more + data if rng.random() < 0.5 else data + more


def cut(rng, data, _other):
    return data[: rng.randrange(len(data))]


def leave_out(rng, data, _other):
    start = rng.randrange(len(data))
    return data[:start] + data[start + rng.randint(1, 60) :]


def twice(rng, data, _other):
    start = rng.randrange(len(data))
    end = start + rng.randint(1, 400)
    return data[:end] + data[start:end] + data[end:]


def swap(rng, data, _other):
    a, b, c, d = sorted(rng.randrange(len(data)) for _ in range(4))
    return data[:a] + data[c:d] + data[b:c] + data[a:b] + data[d:]


def lines_swapped(rng, data, _other):
    lines = data.split(b"\n")
    a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]
    return b"\n".join(lines)


def blanks(rng, data, _other):
    """White space that says nothing: line ends, tabs, none."""
    place = rng.choice([found.start() for found in re.finditer(rb"[ \n]", data)] or [0])
    return data[:place] + rng.choice([b"", b"\t", b"  ", b"\r\n", b" ", b"\n"]) + data[place + 1 :]


def spliced(rng, data, other):
    """The head of one seller's paper and the tail of another's, cut at one place or at one word."""
    place = rng.randrange(min(len(data), len(other)))
    if rng.random() < 0.5:
        return data[:place] + other[place:]
    word = rng.choice(
        [b"<script", b"<h2>", b'"figures"', b'"map"', b'"signature"', b"stream\n", b"endobj\n", b"xref\n"]
    )
    return data.partition(word)[0] + word + other.partition(word)[2]


def line_of_another(rng, data, other):
    lines = data.split(b"\n")
    lines[rng.randrange(len(lines))] = rng.choice(other.split(b"\n"))
    return b"\n".join(lines)


def around(rng, data, other):
    """A paper inside another one."""
    place = rng.randrange(len(other))
    return other[:place] + data + other[place:]


CHANGES = [flip, flip, digit, digit, insert, insert, at_an_end, cut, leave_out, twice, swap, lines_swapped, blanks]
CHANGES += [blanks, spliced, spliced, line_of_another, around]


def mutated(seed, proofs):
    """Bytes of one changed paper, or None where nothing changed; and how it was made."""
    rng = random.Random(seed)
    own, stranger = rng.sample(proofs, 2)
    name = rng.choice(PAPERS)
    other = stranger[name] if rng.random() < 0.7 else rng.choice([own, stranger])[rng.choice(PAPERS)]
    data, done = own[name], []
    for _ in range(rng.choice([1, 1, 1, 2, 5])):
        change = rng.choice(CHANGES)
        done.append(change.__name__)
        data = change(rng, data, other) if data else data
    genuine = {paper for proof in proofs for paper in proof.values()}
    return (None if data in genuine else data), name, done


def wrongly_held(count, proofs, folder):
    """Of *count* changed papers those that hold, and those that stopped the program."""
    wrong, changed = [], 0
    for seed in itertools.count():
        data, name, done = mutated(seed, proofs)
        if data is None:
            continue
        path = folder / f"a-{name}"
        path.write_bytes(data)
        code = verify(path, "--quiet")
        if code not in {2, 3}:
            wrong.append((seed, name, done, code))
        changed += 1
        if changed == count:
            return wrong
    raise AssertionError("there are seeds without end")


def test_no_changed_paper_holds(proofs, tmp_path):
    assert wrongly_held(QUICK, proofs, tmp_path) == []
    for proof in proofs:
        for name, data in proof.items():
            (tmp_path / f"a-{name}").write_bytes(data)
            assert verify(tmp_path / f"a-{name}", "--quiet") == 0


@pytest.mark.slow
def test_none_of_ten_thousand_changed_papers_holds(proofs, tmp_path):
    assert wrongly_held(MANY, proofs, tmp_path) == []
