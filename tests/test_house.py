"""The house as DEVELOPERS.md draws it: rooms are folders, imports go down only, each keeps to what it may touch.

Order and walls stand here once; a room is known by its folder, so a new module needs no entry.
Imports made for type checking count like any other.
"""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "coverage_audit"
STOREYS = (
    {"errors", "one_core", "facts"},
    {"units", "arrays", "threads", "later"},
    {"edges", "solid"},
    {"read"},
    {"jobs"},
    {"drive"},
    {"ground"},
    {"passes", "rate", "accuracy"},
    {"touchup", "days"},
    {"recipe"},
    {"comparison", "ledger"},
    {"sheet"},
    {"papers"},
    {"demo"},
    {"files"},
    {"farm"},
    {"run"},
    {"season"},
    {"face", "page"},
    {"cli"},
    {"__init__", "__main__"},
)
"""From the ground up. Rooms that share a storey never import each other."""

CORE = {
    "errors",
    "facts",
    "units",
    "arrays",
    "drive",
    "ground",
    "passes",
    "rate",
    "accuracy",
    "touchup",
    "days",
    "recipe",
}
NOT_IN_CORE = {
    "argparse", "branca", "csv", "folium", "geopandas", "gpxpy", "importlib", "io", "jinja2", "json", "logging", "os",
    "pandas", "pathlib", "pyogrio", "shutil", "signal", "socket", "subprocess", "sys", "tempfile", "time", "tomllib",
    "tqdm", "urllib", "xml",
}  # fmt: skip
NOT_CALLED_IN_CORE = {"open", "print", "input", "now", "utcnow", "today"}
FILE_METHODS = {"open", "read_text", "read_bytes", "write_text", "write_bytes", "unlink", "mkdir"}
LONGEST_MODULE, LONGEST_FUNCTION = 400, 40  # lines; past them a module or function asks to be split

MODULES = sorted(PACKAGE.rglob("*.py"))


def room(path):
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def name(path):
    return str(path.relative_to(PACKAGE))


def nodes(path):
    return list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


def imported(path):
    """Dotted names of everything a module imports; of the package's own, from the package down."""
    parents = ["coverage_audit", *path.relative_to(PACKAGE).parent.parts]
    for node in nodes(path):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = parents[: len(parents) + 1 - node.level] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            yield from (f"{module}.{alias.name}" for alias in node.names)


def called(path):
    """Last names of everything a module calls."""
    return {ast.unparse(node.func).rpartition(".")[2] for node in nodes(path) if isinstance(node, ast.Call)}


def storey(one):
    return next(number for number, rooms in enumerate(STOREYS) if one in rooms)


def test_every_room_stands_on_one_storey():
    assert {room(path) for path in MODULES} <= set().union(*STOREYS)
    assert sum(len(rooms) for rooms in STOREYS) == len(set().union(*STOREYS))


@pytest.mark.parametrize("path", MODULES, ids=name)
def test_imports_go_down(path):
    for full in imported(path):
        if full.startswith("coverage_audit.") and full != "coverage_audit.__version__":
            other = full.split(".")[1]
            assert other == room(path) or storey(other) < storey(room(path)), full


@pytest.mark.parametrize("path", [path for path in MODULES if room(path) in CORE], ids=name)
def test_core_touches_no_file_clock_or_terminal(path):
    assert not NOT_IN_CORE & {full.split(".")[0] for full in imported(path)}
    assert not (NOT_CALLED_IN_CORE | FILE_METHODS) & called(path)


@pytest.mark.parametrize("path", [path for path in MODULES if room(path) not in {"cli", "__main__"}], ids=name)
def test_only_the_command_prints_and_exits(path):
    assert not {"print", "exit", "_exit"} & called(path)


@pytest.mark.parametrize(
    "path", [path for path in MODULES if room(path) not in {"cli", "face", "files", "page"}], ids=name
)
def test_only_the_entrances_write_to_disk(path):
    assert not {"write_text", "write_bytes", "mkdir", "unlink"} & called(path)


@pytest.mark.parametrize("path", MODULES, ids=name)
def test_no_module_or_function_is_too_long(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= LONGEST_MODULE
    for node in nodes(path):
        if isinstance(node, ast.FunctionDef):
            assert node.end_lineno - node.lineno + 1 - docstring_lines(node) <= LONGEST_FUNCTION, node.name


def docstring_lines(node):
    first = node.body[0]
    is_text = (
        isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and isinstance(first.value.value, str)
    )
    return first.end_lineno - first.lineno + 1 if is_text else 0


@pytest.mark.parametrize(
    "path", [path for path in MODULES if path.name == "__init__.py" and path.parent != PACKAGE], ids=name
)
def test_every_room_says_what_comes_in_what_goes_out_and_what_it_may_touch(path):
    if path.parent.parent == PACKAGE:
        text = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
        assert all(word in text for word in ("In:", "Out:", "May touch:"))
