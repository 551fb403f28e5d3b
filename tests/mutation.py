"""Change the code in small ways and see whether tests notice: ``python tests/mutation.py GROUP --count N --seed S``.

The library mutmut makes the changes (``pip install mutmut``). Drawn by lot with a fixed seed, each is held against the
quick tests of its room that run the changed function; all happens in a copy. Told are how many were noticed, and the
diff of each that was not: write a test for it, or say why it changes nothing that matters.
"""

import argparse
import json
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
EDGE_SHIFT = [
    f"passes/test_edge_shift.py::test_{one}"
    for one in (
        "gaps_along_the_lap_are_those_of_the_shift",
        "the_turn_of_the_outline_does_not_matter",
        "what_a_driver_leaves_all_round_is_no_shift",
        "a_lap_along_two_sides_tells_of_one_direction_only_and_so_nothing",
        "a_tree_that_was_driven_round_is_left_out",
    )
]
SPACING = [
    f"passes/test_width_spacing.py::test_{one}"
    for one in ("the_spacing_is_told_from_the_drive_alone", "a_drive_without_passes_has_no_spacing")
]
"""The others of those files audit whole jobs and are slow."""

GROUPS = {
    "drive": (["drive/*"], ["drive"]),
    "ground": (
        ["ground/*"],
        ["ground", "recipe/test_audit.py", "recipe/test_checks_mutants.py", "recipe/test_driven_edge.py"],
    ),
    "rate": (
        ["rate/*"],
        ["rate/test_nozzles.py", "rate/test_product.py", "rate/test_rate.py", "rate/test_rate_rules.py",
         "rate/test_tank.py", "rate/test_rate_mutants.py", "rate/test_steps_mutants.py", "rate/test_cells_mutants.py",
         "rate/test_places_mutants.py"],
    ),
    "passes": (
        ["passes/*"],
        ["passes/test_best_line.py", *EDGE_SHIFT, *SPACING, "passes/test_pass_ground_mutants.py",
         "passes/test_lines_mutants.py", "passes/test_way_mutants.py", "passes/test_causes_mutants.py",
         "passes/test_state_mutants.py", "passes/test_work_mutants.py", "passes/test_shape_mutants.py",
         "passes/test_diary_mutants.py"],
    ),
    "touchup": (["touchup/rules.py"], ["touchup/test_touchup_rules.py", "touchup/test_touchup_bounds.py",
                                       "touchup/test_rules_mutants.py"]),
    "dates": (["papers/proof/record.py"], ["papers/test_dates_mutants.py"]),
}  # fmt: skip
"""Modules that are changed, and the tests that are to notice; "dates" are the days that a proof tells."""

SHOW = """
import json, sys
from mutmut.__main__ import find_mutant, get_diff_for_mutant
print(json.dumps({name: get_diff_for_mutant(name, path=find_mutant(name).path) for name in sys.argv[1:]}))
"""

ONLY = {"dates": ".x__product__"}
FAILED, OUT_OF_TIME, NOT_RUN = {1, 3, -9, -11}, {-24, 24, 36, 152, 255}, {5, 33}
"""Exit codes by mutmut: tests failed; ran out of time (on a busy machine this says little); no test runs it."""


def copied(folder, group):
    """Copy what is needed into *folder*, with settings for *group*."""
    modules, tests = GROUPS[group]
    tests = [f"tests/{one}" for one in tests if (ROOT / "tests" / one.split("::")[0]).exists()]
    for name in ("coverage_audit", "tests", "fixtures"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    settings = {
        "source_paths": ["coverage_audit"],
        "only_mutate": [f"coverage_audit/{one}{'' if one.endswith('.py') else '.py'}" for one in modules],
        "also_copy": ["fixtures", "README.md"],
        "pytest_add_cli_args": ["-p", "no:cacheprovider"],
        "pytest_add_cli_args_test_selection": tests,
    }
    lines = [f"{key} = {json.dumps(value)}" for key, value in settings.items()]
    (folder / "README.md").write_text((ROOT / "README.md").read_text(encoding="utf-8"), encoding="utf-8")
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8") + "\n".join(["", "[tool.mutmut]", *lines, ""])
    (folder / "pyproject.toml").write_text(text, encoding="utf-8")


def mutmut(folder, *arguments):
    """Run mutmut in *folder*; what it printed."""
    found = subprocess.run(
        [sys.executable, "-P", "-m", "mutmut", *arguments], cwd=folder, capture_output=True, text=True, check=False
    )
    return found.stdout + found.stderr


def codes(folder):
    """Exit code of every change that mutmut can make; None = not tried."""
    found = {}
    for path in sorted(folder.glob("mutants/**/*.meta")):
        found |= json.loads(path.read_text(encoding="utf-8"))["exit_code_by_key"]
    return found


def changes_text_alone(diff):
    """Whether a change only spells a text otherwise: words are held by tests of their own."""
    lines = diff.splitlines()
    old, new = ([line[1:] for line in lines if line[:1] == sign and line[:3] != 3 * sign] for sign in "-+")
    return [one.casefold() for one in old] == [one.replace("XX", "").casefold() for one in new]


def diffs(folder, names):
    """What each of *names* changes."""
    found = subprocess.run(
        [sys.executable, "-P", "-c", SHOW, *names], cwd=folder, capture_output=True, text=True, check=True
    )
    return json.loads(found.stdout.splitlines()[-1])


def draw(folder, every, given):
    """Changes by lot, without those of texts, and what they change."""
    lot = random.Random(given.seed).sample(every, min(3 * given.count, len(every)))
    changes = {name: diff for name, diff in diffs(folder, lot).items() if not changes_text_alone(diff)}
    return dict(list(changes.items())[: given.count])


def main():
    """Draw changes, try them, and tell."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("group", choices=GROUPS)
    parser.add_argument("--count", type=int, default=15)
    parser.add_argument("--seed", type=int, default=13)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as work:
        folder = Path(work)
        copied(folder, given.group)
        told = mutmut(folder, "run", "none of them", "--max-children", "1")  # makes them, and sees which test runs what
        every = sorted(name for name in codes(folder) if ONLY.get(given.group, "") in name)
        if not every:
            sys.exit(told)
        drawn = draw(folder, every, given)
        told = mutmut(folder, "run", *drawn, "--max-children", "1")
        found = codes(folder)
        kept = [name for name in drawn if found[name] not in FAILED | OUT_OF_TIME]
        slow = sum(found[name] in OUT_OF_TIME for name in drawn)
        if any(found[name] is None for name in drawn):
            sys.exit(told)
        noticed = f"{len(drawn) - len(kept)} of {len(drawn)} noticed ({slow} by running out of time)"
        print(f"{given.group}: {noticed}, {len(every)} possible")
        for name in kept:
            print("no test runs it:" if found[name] in NOT_RUN else "not noticed:", drawn[name])


if __name__ == "__main__":
    main()
