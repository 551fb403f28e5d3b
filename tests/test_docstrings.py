"""Public docstrings of the computing rooms: units where there is a quantity, a source where there is a formula.

Found by words, so a figure of this test is rough: it says that something is said, not that it is right.
"""

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "coverage_audit"
ROOMS = ("drive", "ground", "rate", "accuracy", "passes", "touchup")
LEAST_WITH_UNITS, LEAST_WITH_SOURCE = 0.8, 0.5

QUANTITY = re.compile(
    r"(_(m|m2|s|m_s|m_s2|rad|deg|l|l_ha|l_s|l_min|ha|bar|pa|db|hz|days|per_l|per_ha|m_h)$)"
    r"|^(area|areas|length|width|distance|speed|heading|time|rate|volume|dose|cost|travel)$"
)
"""Names of arguments and fields that hold a quantity: the package ends them in their unit."""

UNIT = re.compile(
    r"\[(1|m|m2|m3|s|h|m/s|m/s2|m/h|rad|deg|L|L/ha|L/s|L/min|L/m2|1/m|1/s|1/m2|1/width|days|money|money/[a-zA-Z0-9]+|"
    r"cells|bar|L or kg|[a-z0-9 ,/]*\b(m|m2|s|deg|rad|L|days|widths|kg)\b[a-zA-Z0-9 ,/]*)\]"
)
SOURCE = re.compile(
    r"\(?\b(1[6-9]\d\d|20\d\d)\b\)?|ISO \d|NMEA|ASABE|ExEx|Handbook|RFC \d|[Cc]ommon practice|from memory|[Tt]extbook|"
    r"[Uu]niversity|Univ\.|no source"
)
FORMULA = {
    "sqrt", "exp", "log", "expm1", "sin", "cos", "tan", "arctan", "arctan2", "atan2", "acos", "arccos", "hypot", "erf",
    "polyfit", "lstsq", "solve", "cholesky", "var", "std", "quantile", "percentile", "convolve",
}  # fmt: skip
"""A function that calls one of these computes by a formula that has to come from somewhere."""


def modules(room):
    return sorted((PACKAGE / room).rglob("*.py"))


def public(room):
    """Name, node and docstring of every public function, method and class of *room*."""
    for path in modules(room):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        classes = [node for node in tree.body if isinstance(node, ast.ClassDef) and not node.name.startswith("_")]
        for holder in (tree, *classes):
            for node in holder.body:
                if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_"):
                    yield f"{path.relative_to(PACKAGE)}:{node.name}", node, ast.get_docstring(node) or ""


def own_names(node):
    """Arguments of a function and its name, fields of a class."""
    if isinstance(node, ast.ClassDef):
        return [one.target.id for one in node.body if isinstance(one, ast.AnnAssign)]
    every = node.args.posonlyargs + node.args.args + node.args.kwonlyargs
    return [node.name, *(one.arg for one in every)]


def has_quantity(node):
    return any(QUANTITY.search(name) for name in own_names(node))


def is_formula(node):
    """Whether a function computes by a formula: it calls a root, a power law, an angle, a statistic."""
    if isinstance(node, ast.ClassDef):
        return False
    called = {ast.unparse(one.func).rpartition(".")[2] for one in ast.walk(node) if isinstance(one, ast.Call)}
    return bool(FORMULA & called)


def told(room, chosen, pattern):
    """Names that *chosen* picks, and those among them whose docstring does not match *pattern*."""
    picked = [(name, text) for name, node, text in public(room) if chosen(node)]
    return picked, [name for name, text in picked if not pattern.search(text)]


@pytest.mark.parametrize("room", ROOMS)
def test_docstrings_state_units_where_there_is_a_quantity(room):
    picked, silent = told(room, has_quantity, UNIT)
    assert len(silent) <= (1 - LEAST_WITH_UNITS) * len(picked), silent


@pytest.mark.parametrize("room", ROOMS)
def test_docstrings_of_formulas_name_their_source(room):
    picked, silent = told(room, is_formula, SOURCE)
    assert len(silent) <= (1 - LEAST_WITH_SOURCE) * len(picked), silent
