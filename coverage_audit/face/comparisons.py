"""Jobs side by side, as a notebook wants them."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from coverage_audit import run
from coverage_audit.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.papers.compare_page import Comparison

    from .audits import Audited


class Compared:
    """One comparison; ``result`` is the frozen record. Equal only to itself."""

    def __init__(self, result: Comparison) -> None:
        self.result = result

    @property
    def summary(self) -> dict[str, Any]:
        """Everything that ``compare.json`` holds, in SI units, unrounded."""
        found: dict[str, Any] = json.loads(run.comparison_papers(self.result)["compare.json"])
        return found

    @property
    def differences(self) -> Any:  # noqa: ANN401 - pandas has no types here
        """One row for each measure and job against the first: a DataFrame; what is not known is NaN."""
        import pandas as pd  # noqa: PLC0415 - not everybody asks for frames

        return pd.DataFrame(self.summary["differences"])

    def __repr__(self) -> str:
        sentences, _ = run.comparison_sentences(self.result)
        return "\n".join([f"<comparison of {len(self.result.jobs)} jobs", *(f"  {one}" for one in sentences[:6])]) + ">"


def compare(first: Audited, *others: Audited, labels: Sequence[str] | None = None) -> Compared:
    """Put jobs side by side; each is held against the first.

    Parameters
    ----------
    first, *others : Audited
        Two audits or more.
    labels : sequence of str, optional
        A name for each; default: the jobs' names, numbered where two are the same.

    Raises
    ------
    InputError
        Fewer than two audits, or labels that do not fit.
    """
    audits = (first, *others)
    if not others:
        raise InputError("give two audits or more to compare", "compare")
    names = list(labels) if labels is not None else [one.job.settings.name or "job" for one in audits]
    if len(names) != len(audits):
        raise InputError(f"{len(names)} labels stand beside {len(audits)} audits; give one for each", "labels")
    if len(set(names)) < len(names):
        if labels is not None:
            raise InputError("two audits have the same label; give each its own", "labels")
        names = [f"{name} ({place})" for place, name in enumerate(names, 1)]
    return Compared(run.compared([run.record(one.result, name) for one, name in zip(audits, names, strict=True)]))
