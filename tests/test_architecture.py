"""The five storeys that DEVELOPERS.md promises, checked on every run.

Imports go down only. Within a storey a room stays shut to the others, except for the few
parts listed in ``PARTS``: a room that grew too long for one module, or a tool that several
rooms of one kind share. To add a room, put its name into one of the sets below; to split
one, add the new part to ``PARTS``. Imports made for type checking count like any other.
"""

import ast
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "coverage_audit"

FLOOR = {"errors", "units", "tolerances", "model", "model_core", "model_settings"}
FLOOR |= {"model_accuracy", "tolerances_accuracy"}
FLOOR |= {"model_passes", "model_compare", "tolerances_passes", "tolerances_compare"}
FLOOR |= {"tolerances_field", "edges"}
FLOOR |= {"tolerances_rate", "model_rate", "rate_classes"}
FLOOR |= {"model_touchup", "tolerances_touchup", "model_proof", "tolerances_proof", "typed_text"}
STAGES = {
    *{"plane", "track", "motion", "boom", "swath", "ground", "coverage", "raster", "findings", "rate"},
    *{"cautions", "simulate"},
    *{"error_model", "gap_probes", "accuracy", "scan"},
    *{"passes", "steering", "switching", "causes", "pass_ground", "propose", "compare", "measures"},
    *{"rate_flow", "rate_steps", "rate_quads", "rate_surface", "rate_places", "nozzles", "tank", "product"},
    *{"passes", "steering", "switching", "causes", "pass_ground", "left_out", "propose", "compare", "measures"},
    *{"rate_flow", "rate_steps", "rate_surface", "rate_places", "nozzles", "tank", "product"},
    *{"touchup", "touchup_turns", "touchup_passes", "touchup_ways", "touchup_order"},
}
READERS = {"read_job", "read_track", "read_field", "read_boom", "read_result"}
WRITERS = {"summary", "report", "export_rate", "report_compare", "look", "propose_csv"}
WRITERS |= {"report_touchup", "export_touchup", "touchup_words"}
WRITERS |= {"proof_record", "proof_figures", "proof_page", "proof_pdf", "proof_picture", "proof_verify"}
WRITERS |= {"safe_text"}
WRITERS |= {"proof_again", "proof_form", "proof_map"}
ENTRANCE = {"cli", "files", "__main__", "__init__"}

PARTS = {
    # stages: parts of a stage that grew too long for one module
    "findings": {"middle_line"},
    "causes": {"strip_places"},
    "motion": {"reversals", "smoothing"},
    "swath": {"cuts"},
    "passes": {"ab_lines", "legs", "spans", "way"},
    "spans": {"way"},
    "ab_lines": {"legs"},
    "legs": {"way"},
    "steering": {"cross_track"},
    "switching": {"cross_track"},
    "propose": {"cross_track", "switching", "steering"},
    "pass_ground": {"steering"},
    "measures": {"compare"},
    "accuracy": {"gap_choice", "gap_habits", "gap_model", "scan"},
    "gap_model": {"error_model", "gap_habits"},
    "gap_habits": {"error_model", "gap_choice"},
    "error_model": {"smoothing"},
    "rate_flow": {"rate"},
    "rate_steps": {"rate_flow", "rate_quads"},
    "rate_surface": {"rate_cells", "rate_quads", "rate_steps"},
    "rate_places": {"rate_quads", "rate_steps", "rate_surface"},
    "nozzles": {"rate"},
    "touchup": {"product"},
    "touchup_ways": {"touchup_turns"},
    "simulate": {"simulate_plan", "simulate_route"},
    "simulate_plan": {"simulate_route"},
    # readers: the job reader opens the papers that a job names
    "job_schema": {"job_touchup"},
    "proof_record": {"__init__", "display", "proof_figures", "proof_picture", "proof_sign"},
    "proof_page": {"pages", "proof_picture", "proof_sign"},
    "proof_pdf": {"proof_page", "proof_picture", "proof_sign"},
    "proof_form": {"proof_figures", "proof_record"},
    "proof_verify": {"proof_drawn", "proof_form", "proof_page", "proof_pdf", "proof_record", "proof_sign"},
    "proof_again": {"proof_figures", "proof_map", "proof_picture", "proof_record", "proof_sign"},
    "read_job": {
        "job_accuracy",
        "job_rate",
        "job_schema",
        "job_touchup",
        "read_bytes",
        "read_boom",
        "read_field",
    }
    | {"read_track"},
    "read_boom": {"read_bytes"},
    "read_result": {"read_bytes", "result_shape"},
    "read_field": {"read_bytes", "read_gpx"},
    "read_result": {"read_bytes"},
    "read_field": {"read_bytes", "read_gpx", "field_areas", "field_crs", "field_geopackage", "field_json"}
    | {"field_kml", "field_shapefile", "field_shapes", "field_xml"},
    "field_geopackage": {"field_crs", "field_shapes", "field_wkb"},
    "field_json": {"field_crs", "field_shapes"},
    "field_kml": {"field_crs", "field_shapes", "field_xml"},
    "field_shapefile": {"field_crs", "field_shapes"},
    "field_wkb": {"field_shapes"},
    "read_track": {"read_bytes", "read_gpx", "read_nmea", "nmea_sentences"},
    "read_gpx": {"fix_faults"},
    "read_nmea": {"fix_faults", "nmea_sentences", "nmea_transducers"},
    "nmea_transducers": {"nmea_sentences"},
    # writers: all share how numbers are shown
    "summary": {"accuracy_words", "display", "safe_text", "summary_rate", "pass_words", "summary_passes"},
    "pass_words": {"accuracy_words", "display"},
    "accuracy_words": {"display"},
    "summary_passes": {"display", "export_shapes", "pass_words"},
    "export_rate": {"export_shapes"},
    "report_passes": {"display", "charts", "pass_words", "report_facts"},
    "map_layers": {"accuracy_words", "map_passes"},
    "report_compare": {"display", "compare_map", "pages", "safe_text"},
    "compare_map": {"display", "static_map"},
    "pages": {"safe_text"},
    "look": {"display", "safe_text"},
    "summary_rate": {"display"},
    "report": {"display", "pages", "charts", "map_layers", "map_view", "report_facts", "report_rate", "static_map"}
    | {"accuracy_words", "pass_words", "report_passes", "report_touchup"},
    "report_rate": {"display", "charts", "rate_picture"},
    "touchup_words": {"display"},
    "export_touchup": {"display", "safe_text", "touchup_words"},
    "export_touchup": {"display", "export_shapes", "touchup_words"},
    "report_touchup": {"display", "pages", "touchup_words", "touchup_map"},
    "touchup_map": {"display", "static_map"},
    "charts": {"display"},
    "map_view": {"display", "map_layers"},
    "report_facts": {"accuracy_words", "display"},
    "static_map": {"display", "map_layers"},
    "demo": {"display", "simulate_files"},
    # the recipe
    "audit": {"audit_accuracy", "audit_assumed", "audit_causes", "audit_drive", "audit_passes", "audit_rate"},
    "audit_causes": {"audit_drive", "audit_passes"},
    "audit_assumed": {"audit_passes"},
    "audit_touchup": {"audit_touchup_field"},
    "audit_rate": {"audit_drive"},
    # entrance
    "cli": {"cli_more", "cli_output", "cli_proof", "cli_touchup", "job_accuracy", "read_bytes", "files", "__init__"},
    "cli_output": {"files", "files_set"},
    "cli_more": {"read_bytes"},
    "files": {"files_lock", "files_set"},
    "__main__": {"cli"},
}

LOWER = {
    "errors": set(),
    "units": {"errors", "tolerances"},
    "tolerances": set(),
    "tolerances_field": set(),
    "edges": {"model"},
    "tolerances_rate": set(),
    "tolerances_proof": set(),
    "typed_text": set(),
    "model_rate": set(),
    "model_touchup": set(),
    "tolerances_touchup": set(),
    "model_settings": {"model_proof", "model_rate", "model_accuracy", "model_touchup"},
    "rate_classes": {"model_rate", "tolerances_rate"},
    "model": {"errors", "units", "model_rate", "model_passes", "model_settings", "model_accuracy"},
    "model_core": {"model"},
    "audit": FLOOR | STAGES - {"simulate"},
    "audit_drive": FLOOR | STAGES - {"simulate"},
    "model_accuracy": set(),
    "tolerances_accuracy": set(),
    "audit_accuracy": FLOOR | STAGES,
    "audit_passes": FLOOR | STAGES | {"way", "cross_track"},
    "audit_assumed": FLOOR | STAGES | {"way"},
    "audit_causes": FLOOR | STAGES | {"strip_places"},
    "cli_more": FLOOR
    | READERS
    | WRITERS
    | {"audit", "audit_assumed", "audit_drive", "compare", "job_accuracy", "measures", "job_schema"},
    "model_passes": set(),
    "model_compare": set(),
    "tolerances_passes": set(),
    "tolerances_compare": set(),
    "report_compare": FLOOR | {"pages", "plane", "compare", "measures", "display", "compare_map"},
    "audit_rate": FLOOR | STAGES - {"simulate"},
    "audit_touchup": FLOOR | STAGES,
    "audit_touchup_field": FLOOR | STAGES,
    "model_proof": set(),
    "cli_proof": FLOOR | READERS | WRITERS | {"proof_sign"},
    "cli_touchup": FLOOR | WRITERS | {"audit_touchup", "display", "job_schema"},
    "demo": FLOOR | {"plane", "simulate", "simulate_plan", "simulate_route"},
    "simulate_files": FLOOR | {"plane", "simulate"},
    "cli": FLOOR | READERS | WRITERS | {"audit", "demo"},
    "files": FLOOR,
    "files_lock": FLOOR,
    "cli_output": FLOOR | {"safe_text"},
    "__main__": set(),
    "__init__": FLOOR,
}
"""What a room may open below itself, where that is not the rule of its storey."""


def _rule_of_the_storey(room):
    """Stages and readers stand on the floor alone; writers also need the plane, to put places back into degrees."""
    serves = {room} | {whole for whole, parts in PARTS.items() if room in parts}
    return FLOOR | ({"plane"} if serves & (WRITERS | {"map_layers", "map_view"}) else set())


ROOMS = (
    FLOOR | STAGES | READERS | WRITERS | ENTRANCE | {"audit", "audit_touchup", "demo"} | set().union(*PARTS.values())
)
MAY_IMPORT = {room: LOWER.get(room, _rule_of_the_storey(room)) | PARTS.get(room, set()) for room in ROOMS}

CORE = FLOOR | STAGES | {"audit", "audit_touchup", "rate_cells"}
CORE |= set().union(
    *(PARTS[room] for room in ("accuracy", "audit", "audit_touchup", "findings", "motion", "passes", "swath"))
)
CORE |= PARTS["simulate"]
NOT_IN_CORE = {
    "argparse", "branca", "csv", "folium", "geopandas", "gpxpy", "importlib", "io", "jinja2", "json", "logging", "os",
    "pandas", "pathlib", "pyogrio", "shutil", "signal", "socket", "subprocess", "sys", "tempfile", "time", "tomllib",
    "tqdm", "urllib", "xml",
}  # fmt: skip
NOT_CALLED_IN_CORE = {"open", "print", "input", "now", "utcnow", "today"}
FILE_METHODS = {"open", "read_text", "read_bytes", "write_text", "write_bytes", "unlink", "mkdir"}


def tree(room):
    return ast.walk(ast.parse((PACKAGE / f"{room}.py").read_text(encoding="utf-8")))


def imported(room):
    """First names of everything *room* imports, the package's own without its prefix."""
    for node in tree(room):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            own = node.level > 0 or node.module == "coverage_audit"
            names = [alias.name for alias in node.names] if own and not node.module else [node.module]
            if node.module == "coverage_audit":
                names = [alias.name for alias in node.names]
        else:
            continue
        for name in names:
            # "from . import __version__" opens the front door itself
            yield "__init__" if name == "__version__" else name.removeprefix("coverage_audit.").split(".")[0]


def called(room):
    """Last names of everything *room* calls."""
    for node in tree(room):
        if isinstance(node, ast.Call):
            yield ast.unparse(node.func).rpartition(".")[2]


def test_every_module_has_a_room():
    assert {path.stem for path in PACKAGE.glob("*.py")} == ROOMS


@pytest.mark.parametrize("room", sorted(ROOMS))
def test_imports_go_down(room):
    assert set(imported(room)) & ROOMS <= MAY_IMPORT[room]


def test_no_room_comes_back_to_itself():
    TopologicalSorter({room: set(imported(room)) & ROOMS for room in ROOMS}).prepare()  # raises CycleError


@pytest.mark.parametrize("room", sorted(CORE))
def test_core_touches_no_file_clock_or_terminal(room):
    assert not NOT_IN_CORE & set(imported(room))
    assert not (NOT_CALLED_IN_CORE | FILE_METHODS) & set(called(room))


@pytest.mark.parametrize("room", sorted(ROOMS - {"cli", "__main__"}))
def test_only_the_command_prints_and_exits(room):
    assert not {"print", "exit", "_exit"} & set(called(room))


@pytest.mark.parametrize("room", sorted(ROOMS - {"cli", "files", "files_lock", "demo"}))
def test_only_the_entrance_writes_to_disk(room):
    assert not {"write_text", "write_bytes", "mkdir", "unlink"} & set(called(room))


def test_folium_and_the_terminal_live_in_one_room_each_and_no_room_opens_map_files_with_drivers():
    users = {room: set(imported(room)) for room in ROOMS}
    assert {room for room, names in users.items() if "folium" in names} == {"map_view"}
    assert not {room for room, names in users.items() if {"geopandas", "pyogrio", "fiona", "osgeo"} & names}
    users_of_the_terminal = {room for room, names in users.items() if {"argparse", "tqdm"} & names}
    assert users_of_the_terminal == {"cli", "cli_more", "cli_output", "cli_proof", "cli_touchup"}
