"""Judge the ranges and chances of the audit on jobs of the second simulator, whose truth is known.

    python tests/judge_ranges.py --class rtk --steering hand --jobs 40 --cache FOLDER --out RESULTS.jsonl

Jobs are simulated once and kept below the cache folder; judging again costs only audits. Several runs may write results
of their own; `--table A.jsonl B.jsonl` prints them together.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from collections import Counter
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.stats import beta
from second_simulator.cases import CLASS_NUMBER, NO_STRESS, STRESSES, Case
from second_simulator.files import Kept, kept_job

import coverage_audit as ca
from coverage_audit.jobs.accuracy import with_replicates

KINDS = ("missed", "double")
BINS = (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0)
CACHE = Path(tempfile.gettempdir()) / "second_simulator"
HEAD = (
    "| stress | hz | class | steering | jobs | area | held | truth below/above | RMSE raw -> estimate m2 | bias m2 "
    "| mean width m2 | mean truth m2 | cannot tell |"
)
REAL_SHARE = 0.5  # of a strip's area truly missed


def main() -> None:
    options = _options()
    if options.table:
        rows = [json.loads(line) for file in options.table for line in file.read_text().splitlines()]
        print(table(rows))  # noqa: T201 - a script for people
        return
    rows = []
    for receiver in options.classes or CLASS_NUMBER:
        for steering in options.steering or ("hand", "guided"):
            for seed in range(options.first_seed, options.first_seed + options.jobs):
                case = Case(receiver, steering, seed, options.hz, options.stress)
                row = judge(options.cache, case, options.draws)
                rows.append(row)
                if options.out:
                    with options.out.open("a") as file:
                        file.write(json.dumps(row) + "\n")
    print(table(rows))  # noqa: T201


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--class", dest="classes", action="append", choices=tuple(CLASS_NUMBER), help="default: all")
    parser.add_argument("--steering", action="append", choices=("hand", "guided"), help="default: both")
    parser.add_argument("--stress", default=NO_STRESS, choices=(NO_STRESS, *STRESSES))
    parser.add_argument("--jobs", type=int, default=20)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--hz", type=int, default=1, choices=(1, 2, 5, 10))
    parser.add_argument(
        "--cache", type=Path, default=CACHE, help="where simulated jobs are kept, outside the repository"
    )
    parser.add_argument("--draws", type=int, help="instead of those of the job file (200)")
    parser.add_argument("--out", type=Path, help="JSON lines, one a job, added to")
    parser.add_argument("--table", type=Path, nargs="+", help="print the table of these results and end")
    return parser.parse_args()


def judge(cache: Path, case: Case, draws: int | None = None) -> dict:
    """Audit one job, with so many *draws* instead of those of its file, and hold it against its truth."""
    job, kept = kept_job(cache, case)
    row = {"class": case.receiver, "steering": case.steering, "seed": case.seed, "hz": case.hz, "stress": case.stress}
    started = time.process_time()
    try:
        audit = ca.audit(with_replicates(ca.read_job(job), draws))
        summary = audit.summary
    except ca.InputError as error:
        return row | {"refused": str(error)}
    row["cpu_s"] = time.process_time() - started
    accuracy = summary["accuracy"] or {}
    for kind in KINDS:
        told = accuracy.get(f"{kind}_m2") or {}
        row[kind] = {
            "truth": getattr(kept.truth, f"{kind}_m2"),
            "raw": summary["area_m2"][kind],
            **{name: told.get(name) for name in ("estimate", "low90", "high90", "told")},
        }
    row["decision"] = (summary.get("decision") or {}).get("kind")
    row["strips"] = _strips(audit, summary, kept)
    return row


def _strips(audit: ca.Audited, summary: dict, kept: Kept) -> list[dict]:
    shapes = audit.missed.geometry if summary["missed_strips"] else {}
    rows = []
    for strip in summary["missed_strips"]:
        as_told, moved = kept.share_missed(shapes[strip["id"]])
        rows.append({"p": strip["probability"], "told": as_told, "moved": moved, "area": strip["area_m2"]})
    return rows


def table(rows: list[dict]) -> str:
    """Everything that the rows show, as text: one line a cell and kind, then the strips, then both pooled."""
    cells = sorted({(r["stress"], r["hz"], CLASS_NUMBER[r["class"]], r["steering"] != "hand") for r in rows})
    names = list(CLASS_NUMBER)
    parts = {c: [r for r in rows if _cell(r) == c] for c in cells}
    lines = [HEAD, "|---|---|---|---|---|---|---|---|---|---|---|---|---|"]
    for cell, own in parts.items():
        head = f"| {cell[0]} | {cell[1]} | {names[cell[2]]} | {'guided' if cell[3] else 'hand'} "
        lines += [f"{head}{_line(own, kind)}" for kind in KINDS]
    lines += [f"| pooled | | | {_line(rows, kind)}" for kind in KINDS] if len(cells) > 1 else []
    lines.append(
        f"\nStrips, real when {REAL_SHARE:.0%} or more of them is truly missed (receiver's error taken off their place;"
    )
    lines.append("in brackets: at the place told). Share real (n) by the chance given:\n")
    lines.append("| cell | " + " | ".join(f"{a:.1f}-{b:.1f}" for a, b in pairwise(BINS)) + " | no chance |")
    lines.append("|---" * (len(BINS) + 1) + "|")
    for cell, own in parts.items():
        lines.append(
            f"| {cell[0]} {cell[1]} Hz {names[cell[2]]} {'guided' if cell[3] else 'hand'} | {_strip_line(own)} |"
        )
    lines.append(f"| pooled | {_strip_line(rows)} |")
    refused = Counter(r["refused"] for r in rows if "refused" in r)
    lines += [f"\nRefused {count}: {why}" for why, count in refused.items()]
    spent = [r["cpu_s"] for r in rows if "cpu_s" in r]
    lines.append(
        f"\nDecisions: {dict(Counter(str(r.get('decision')) for r in rows))}; audit {np.mean(spent):.1f} s of processor"
    )
    return "\n".join(lines)


def _cell(row: dict) -> tuple:
    return row["stress"], row["hz"], CLASS_NUMBER[row["class"]], row["steering"] != "hand"


def _line(rows: list[dict], kind: str) -> str:
    own = [r[kind] for r in rows if kind in r]
    with_range = [x for x in own if x["low90"] is not None and x["high90"] is not None]
    truth, low, high = (np.array([x[name] for x in with_range]) for name in ("truth", "low90", "high90"))
    below, above = int((truth < low).sum()), int((truth > high).sum())
    silent = sum(x["low90"] is None or x["told"] is False for x in own)
    guessed = [x for x in own if x["estimate"] is not None]
    miss, raw = (np.array([x[name] - x["truth"] for x in guessed]) for name in ("estimate", "raw"))
    held = held_words(len(with_range) - below - above, len(with_range)) if with_range else "-"
    rmse = f"{_rms(raw):.3g} -> {_rms(miss):.3g} | {miss.mean():+.3g}" if guessed else "- | -"
    width = f"{(high - low).mean():.3g}" if with_range else "-"
    mean = np.mean([x["truth"] for x in own]) if own else float("nan")
    return f"| {len(rows)} | {kind} | {held} | {below}/{above} | {rmse} | {width} | {mean:.4g} | {silent} |"


def held_words(held: int, jobs: int) -> str:
    """How many held, and the shares that allow this 9 times in 10 (Clopper & Pearson 1934, Biometrika 26:404-413)."""
    low = beta.ppf(0.05, held, jobs - held + 1) if held else 0.0
    high = beta.ppf(0.95, held + 1, jobs - held) if held < jobs else 1.0
    return f"{held} of {jobs} ({low:.0%} to {high:.0%})"


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _strip_line(rows: list[dict]) -> str:
    strips = [s for r in rows for s in r.get("strips", ())]
    cells = []
    for low, high in pairwise(BINS):
        inside = [
            s for s in strips if s["p"] is not None and low <= s["p"] and (s["p"] < high or high == s["p"] == 1.0)
        ]
        cells.append(_share(inside))
    return " | ".join([*cells, _share([s for s in strips if s["p"] is None])])


def _share(strips: list[dict]) -> str:
    if not strips:
        return "-"
    moved, told = (np.mean([s[name] >= REAL_SHARE for s in strips]) for name in ("moved", "told"))
    return f"{moved:.0%} [{told:.0%}] ({len(strips)})"


if __name__ == "__main__":
    main()
