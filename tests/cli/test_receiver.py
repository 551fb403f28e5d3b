"""``receiver`` from outside: figures, lines to paste, the farm's file, and what is too short."""

import json
import tomllib

import numpy as np
import pytest

from coverage_audit.cli import command as cli
from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane

FARM = """# kept by hand
[farm]
name = "Larch Hollow"

[machine.quad]
boom.width = "30 ft"   # tip to tip
accuracy.steering = "hand"

[machine.cart]
boom.width = "12 m"

[machine.cart.accuracy]
sigma = "2 m"
"""


def gpx(path, seconds, sigma, seed=2):
    """A receiver on a post: wander forgotten over 300 s, drawn from its whole covariance, every 10 s."""
    times = np.arange(0, seconds, 10.0)
    covariance = sigma**2 * np.exp(-np.abs(times[:, None] - times) / 300) + (0.05 * sigma) ** 2 * np.eye(len(times))
    places = np.random.default_rng(seed).multivariate_normal(np.zeros(len(times)), covariance, 2, method="cholesky")
    lon, lat = Plane(PlaneOrigin(-116.2, 43.6)).to_degrees(*places)
    points = "".join(
        f'<trkpt lat="{y:.9f}" lon="{x:.9f}"><time>2026-05-30T{int(t) // 3600:02d}:{int(t) // 60 % 60:02d}:'
        f"{int(t) % 60:02d}Z</time></trkpt>"
        for t, x, y in zip(times, lon, lat, strict=True)
    )
    space = 'xmlns="http://www.topografix.com/GPX/1/1"'
    path.write_text(f'<gpx version="1.1" creator="t" {space}><trk><trkseg>{points}</trkseg></trk></gpx>')
    return str(path)


@pytest.fixture(scope="module")
def post(tmp_path_factory):
    return gpx(tmp_path_factory.mktemp("post") / "post.gpx", 7200, 0.8)


def test_json_has_the_keys_and_the_true_figures(post, capsys):
    assert cli.main(["receiver", post, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {"sigma_m", "time_constant_s", "noise_m", "hours", "enough"} <= found.keys()
    for name, true in (("sigma_m", 0.8), ("time_constant_s", 300.0), ("noise_m", 0.04)):
        assert list(found[name]) == ["best", "low90", "high90"]
        # one log in ten lies outside its range; a factor of two beyond it none that was drawn
        assert found[name]["low90"] / 2 < true < 2 * found[name]["high90"]
        assert found[name]["low90"] < found[name]["best"] < found[name]["high90"]
    assert found["enough"] is True
    assert found["hours"] == pytest.approx(7190 / 3600)


def test_lines_to_paste_are_a_job_files(post, capsys):
    assert cli.main(["receiver", post]) == 0
    told = capsys.readouterr().out
    pasted = tomllib.loads(told[told.index("[accuracy]") :].split("\n\n")[0])
    assert pasted["accuracy"].keys() == {"sigma", "time_constant", "noise"}


def test_kept_in_the_farms_file(post, tmp_path, capsys):
    (tmp_path / "farm.toml").write_text(FARM)
    for machine in ("quad", "cart", "quad"):
        assert cli.main(["receiver", post, "--farm", str(tmp_path), "--machine", machine]) == 0
    assert "machine quad" in capsys.readouterr().out
    text = (tmp_path / "farm.toml").read_text()
    was, now = tomllib.loads(FARM), tomllib.loads(text)
    for machine in ("quad", "cart"):
        assert now["machine"][machine]["boom"] == was["machine"][machine]["boom"]
        assert now["machine"][machine]["accuracy"].keys() >= {"sigma", "time_constant", "noise"}
    assert now["machine"]["quad"]["accuracy"]["steering"] == "hand"
    assert now["machine"]["cart"]["accuracy"]["sigma"] != "2 m"
    assert "# kept by hand" in text
    assert "# tip to tip" in text


def test_too_short_says_so_and_writes_nothing(tmp_path, capsys):
    short = gpx(tmp_path / "short.gpx", 300, 0.8)
    (tmp_path / "farm.toml").write_text(FARM)
    assert cli.main(["receiver", short]) == 0
    told = capsys.readouterr().out
    assert "too short to tell" in told
    assert "[accuracy]" not in told
    assert cli.main(["receiver", short, "--farm", str(tmp_path), "--machine", "quad"]) == 2
    assert "cannot tell" in capsys.readouterr().err
    assert (tmp_path / "farm.toml").read_text() == FARM


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--farm", "."], "belong together"),
        (["--farm", "nowhere", "--machine", "quad"], "no such file"),
    ],
)
def test_input_at_fault(post, more, says, capsys):
    assert cli.main(["receiver", post, *more]) == 2
    assert says in capsys.readouterr().err


def test_machine_that_is_not_there(post, tmp_path, capsys):
    (tmp_path / "farm.toml").write_text(FARM)
    assert cli.main(["receiver", post, "--farm", str(tmp_path), "--machine", "tractor"]) == 2
    assert "it has cart, quad" in capsys.readouterr().err
