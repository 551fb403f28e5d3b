"""``farm new`` and ``field add``: what is kept, and what is refused with one clear line and nothing written."""

import json
import re
import tomllib
import zipfile

import geopandas as gpd
import pytest
from pyproj import Geod
from shapely.geometry import Polygon, box

from coverage_audit.cli import command as cli
from coverage_audit.jobs.fields import kept_fields
from coverage_audit.read.outlines.registry import read_field
from coverage_audit.read.source import Folder

GEOD = Geod(ellps="WGS84")
WEST, SOUTH = -116.2, 43.6


def square(east=0.0, north=0.0, side=0.001):
    """A square in degrees so far from the corner, in sides."""
    x, y = WEST + east * side, SOUTH + north * side
    return box(x, y, x + side, y + side)


@pytest.fixture
def farm(tmp_path):
    folder = tmp_path / "Larch Hollow"
    assert cli.main(["farm", "new", str(folder), "--quiet"]) == 0
    return folder


@pytest.fixture
def add(farm, tmp_path, capsys):
    """Keep shapes, (name, polygon) each, of a file of this name; exit code and what was said of it."""

    def run(name, shapes, *options):
        path = tmp_path / name
        frame = gpd.GeoDataFrame(
            {"name": [called for called, _ in shapes]}, geometry=[shape for _, shape in shapes], crs="EPSG:4326"
        )
        if name.endswith(".kml"):
            rings = [" ".join(f"{x},{y}" for x, y in shape.exterior.coords) for _, shape in shapes]
            marks = "".join(
                f"<Placemark><name>{called}</name><Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}"
                "</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>"
                for (called, _), ring in zip(shapes, rings, strict=True)
            )
            path.write_text(f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{marks}</Document></kml>')
        else:
            frame.to_file(path)
        code = cli.main(["field", "add", str(farm), str(path), "--quiet", *options])
        return code, capsys.readouterr().err

    return run


def names(farm):
    return {one.name: one.file for one in kept_fields(Folder(farm))}


def test_a_new_farm_has_its_folders_and_a_file_that_is_right(farm):
    assert {path.name for path in farm.iterdir()} == {"farm.toml", "fields", "logs", "jobs", "seasons"}
    assert tomllib.loads((farm / "farm.toml").read_text()) == {"farm": {"name": "Larch Hollow"}}


def test_every_example_in_a_new_farm_file_is_right_once_it_is_uncommented(farm, tmp_path, capsys):
    text = (farm / "farm.toml").read_text()
    lines = [re.sub(r"^# (\[|[a-z_.]+ = )", r"\1", line) for line in text.splitlines()]
    (farm / "farm.toml").write_text("\n".join(lines))
    found = tomllib.loads("\n".join(lines))
    assert set(found) == {"farm", "machine", "product"}
    (tmp_path / "f.geojson").write_text(gpd.GeoSeries([square()], crs="EPSG:4326").to_json())
    assert cli.main(["field", "add", str(farm), str(tmp_path / "f.geojson"), "--name", "Home"]) == 0, (
        capsys.readouterr()
    )


def test_a_farm_that_is_there_is_left(farm, capsys):
    (farm / "farm.toml").write_text("[farm]\n")
    assert cli.main(["farm", "new", str(farm)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert (farm / "farm.toml").read_text() == "[farm]\n"


@pytest.mark.parametrize("name", ["f.geojson", "f.gpkg", "f.shp", "f.kml"])
def test_fields_of_every_form_are_kept_under_their_names(farm, add, name):
    shapes = [("East bench", square()), ("Brook piece", square(2))]
    assert add(name, shapes) == (0, "")
    assert names(farm) == {"East bench": "fields/east-bench.geojson", "Brook piece": "fields/brook-piece.geojson"}
    for called, shape in shapes:
        (kept,) = read_field(farm / names(farm)[called]).areas
        # nine decimals of a degree are 0.1 mm; each form has at least that
        assert kept.geometry.symmetric_difference(shape).area / shape.area < 1e-6


def test_packed_forms_are_kept(farm, add, tmp_path):
    assert add("f.shp", [("East bench", square())]) == (0, "")
    add("g.shp", [("Brook piece", square(2))])
    (farm / "fields" / "brook-piece.geojson").unlink()
    with zipfile.ZipFile(tmp_path / "g.zip", "w") as archive:
        for path in tmp_path.glob("g.*"):
            if path.suffix != ".zip":
                archive.write(path, path.name)
    assert cli.main(["field", "add", str(farm), str(tmp_path / "g.zip"), "--quiet"]) == 0
    assert set(names(farm)) == {"East bench", "Brook piece"}


def test_a_line_driven_round_a_field_is_kept(farm, tmp_path):
    points = "".join(f'<trkpt lat="{y}" lon="{x}"/>' for x, y in square().exterior.coords)
    (tmp_path / "round.gpx").write_text(
        f'<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1"><trk><trkseg>{points}</trkseg></trk></gpx>'
    )
    assert cli.main(["field", "add", str(farm), str(tmp_path / "round.gpx"), "--name", "Home", "--quiet"]) == 0
    (kept,) = kept_fields(Folder(farm))
    # the referee is Karney's geodesic area, pyproj
    assert abs(GEOD.geometry_area_perimeter(kept.geometry)[0]) == pytest.approx(
        abs(GEOD.geometry_area_perimeter(square())[0]), rel=1e-9
    )


def test_no_spray_areas_go_to_the_field_that_they_lie_in(farm, add):
    add("f.geojson", [("East bench", square()), ("Brook piece", square(2))])
    assert add("pond.geojson", [("pond", square(0.4, 0.4, 0.0005))], "--no-spray") == (0, "")
    assert add("rock.geojson", [("x", square(0.1, 0.1, 0.0005))], "--no-spray", "--name", "rock") == (0, "")
    kept = {one.name: [area.name for area in one.no_spray] for one in kept_fields(Folder(farm))}
    assert kept == {"East bench": ["pond", "rock"], "Brook piece": []}
    features = json.loads((farm / "fields" / "east-bench.geojson").read_text())["features"]
    assert [one["properties"] for one in features] == [
        {"name": "East bench"},
        {"name": "pond", "kind": "no-spray"},
        {"name": "rock", "kind": "no-spray"},
    ]


@pytest.mark.parametrize(
    ("shapes", "options", "said"),
    [
        ([("east BENCH", square(5))], (), 'a field named "east BENCH" is there already (fields/east-bench.geojson)'),
        ([("New", square(0.93))], (), 'lies on the field "East bench" (fields/east-bench.geojson): they share 7 %'),
        ([("Small", square(1, 1, 0.0002))], (), "they share 100 % of the smaller one"),
        ([("Large", square(-0.3, -0.3, 0.003))], (), "they share 100 % of the smaller one"),
        ([("Twin", square(3)), ("twin", square(5))], (), 'a field named "twin" is there already'),
        ([("A", square(3)), ("B", square(5))], ("--name", "C"), "there are 2 fields in it (A, B)"),
        ([("A", square(3))], ("--name", " "), "the name is blank"),
        ([("pond", square(3))], ("--no-spray",), '"pond" lies in no field that is kept here'),
    ],
)
def test_what_cannot_be_kept_is_refused_and_nothing_is_written(farm, add, shapes, options, said):
    add("f.geojson", [("East bench", square())])
    before = {path.name: path.read_bytes() for path in (farm / "fields").iterdir()}
    code, err = add("g.geojson", shapes, *options)
    assert code == 2
    assert said in err
    assert err.count("\n") == 1
    assert {path.name: path.read_bytes() for path in (farm / "fields").iterdir()} == before


def test_neighbours_that_share_an_edge_are_both_kept(farm, add):
    assert add("f.geojson", [("East bench", square()), ("West bench", square(-0.97))]) == (0, "")
    assert len(names(farm)) == 2


def test_lines_without_an_area_are_no_field(farm, tmp_path, capsys):
    line = {"type": "LineString", "coordinates": [[WEST, SOUTH], [WEST + 0.1, SOUTH]]}
    (tmp_path / "f.geojson").write_text(json.dumps(line))
    assert cli.main(["field", "add", str(farm), str(tmp_path / "f.geojson")]) == 2
    assert "there is no area in it" in capsys.readouterr().err


def test_two_kept_fields_of_one_name_are_told_with_their_files(farm, add, capsys, tmp_path):
    add("f.geojson", [("East bench", square())])
    text = (farm / "fields" / "east-bench.geojson").read_text()
    (farm / "fields" / "copy.geojson").write_text(text)
    assert add("g.geojson", [("Other", square(9))])[0] == 2
    assert cli.main(["field", "add", str(farm), str(tmp_path / "g.geojson")]) == 2
    assert 'two fields are named "East bench"' in capsys.readouterr().err


def test_a_folder_that_is_no_farm_is_told(tmp_path, capsys):
    (tmp_path / "f.geojson").write_text(gpd.GeoSeries([square()], crs="EPSG:4326").to_json())
    assert cli.main(["field", "add", str(tmp_path), str(tmp_path / "f.geojson")]) == 2
    assert "there is no such file" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "file"),
    [("Ängli / süd", "angli-sud"), ("../..", "field"), ("CON", "field-con"), ("野原", "field"), ("a" * 300, "a" * 60)],
)
def test_names_make_plain_file_names(farm, add, name, file):
    assert add("f.geojson", [(name, square())])[0] == 0
    assert list(names(farm).values()) == [f"fields/{file}.geojson"]


def test_a_derived_outline_stays_marked_when_it_is_kept(farm, tmp_path):
    shape = json.loads(gpd.GeoSeries([Polygon(square())], crs="EPSG:4326").to_json())
    shape["features"][0]["properties"] = {"name": "unknown 1", "outline": "derived"}
    (tmp_path / "draft.geojson").write_text(json.dumps(shape))
    assert cli.main(["field", "add", str(farm), str(tmp_path / "draft.geojson"), "--name", "Home", "--quiet"]) == 0
    (kept,) = kept_fields(Folder(farm))
    assert kept.derived
    assert '"outline": "derived"' in (farm / kept.file).read_text()
