"""Thousands of changed papers, and none holds: any byte that is not as it was written counts, blanks included."""

import itertools
from collections import Counter

import pytest
from proof_edits import CHANGES, edited_of, mutated
from proof_kit import verify

from coverage_audit.papers.proof import verify as proof_verify
from coverage_audit.papers.proof.sign import record_text

QUICK, MANY = 200, 10_000


@pytest.fixture(scope="module")
def proofs(tmp_path_factory):
    return edited_of(tmp_path_factory.mktemp("edited"))


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


def wrongly_held(count, proofs, folder):
    """Of *count* changed papers those that hold, and those that stopped the program."""
    wrong, changed, kinds = [], 0, Counter()
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
        kinds.update(done)
        if changed == count:
            assert set(kinds) == {one.__name__ for one in CHANGES}
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
