"""A library put off is read when it is asked for something, and whoever imports it afterwards has the real one."""

import subprocess
import sys
from pathlib import Path

SCRIPT = """
import sys
from coverage_audit.later import later
with later("fractions", "tomllib"):
    import fractions
    assert "decimal" not in sys.modules  # fractions reads it
put_off = fractions
assert "fractions" not in sys.modules
import fractions
assert fractions is not put_off and fractions.Fraction is put_off.Fraction
with later("colorsys"):
    import colorsys
    assert colorsys.rgb_to_hsv(0, 0, 0) == (0.0, 0.0, 0)  # asked for within
with later("fractions", named=["Fraction"]):
    del sys.modules["fractions"]
with later("wave", named=["Wave_read"]):
    import wave
    read: wave.Wave_read = None  # an annotation names it, and nothing is read
    assert "wave" in sys.modules and type(wave).__name__ == "_Later" and "struct" not in vars(wave)
assert wave.Wave_read is __import__("wave").Wave_read
from coverage_audit.later import scipy
special = scipy("special")
assert not any(name in sys.modules for name in ("numpy.f2py", "numpy.testing", "unittest"))
assert (special.ndtr(0.0), special is scipy("special")) == (0.5, True)
import numpy.f2py, numpy.testing
numpy.testing.assert_equal(1, 1)
assert numpy.f2py.__file__.endswith("__init__.py")
"""

CHECK = """
import sys
from coverage_audit.cli import main
assert main(["check", sys.argv[1], "-o", sys.argv[2], "--replicates", "0", "--quiet"]) == 0
heavy = ("pandas", "geopandas", "requests", "xyzservices", "scipy", "numpy.f2py", "fpdf", "fontTools")
print([name for name in heavy if name in sys.modules])
"""

TEMPLATES = """
import sys
from coverage_audit.papers.maps.live import folium
import jinja2
assert isinstance(jinja2.Template("{{ 1 + 1 }}"), jinja2.Template)
held = vars(folium.Marker._template), vars(folium.LayerControl._template)
assert not any("_real" in one for one in held)
chart = folium.Map([1.0, 2.0])
folium.Marker([1.0, 2.0]).add_to(chart)
page = chart.get_root().render()
assert "L.marker(" in page and "openstreetmap" in page  # its own tiles, looked up by name, too
assert ["_real" in one for one in held] == [True, False]
"""
FIXTURE = Path(__file__).parents[1] / "fixtures" / "one_pass_off" / "job.toml"


def output(script, *arguments):
    done = subprocess.run([sys.executable, "-c", script, *arguments], capture_output=True, text=True, check=False)
    assert done.stderr == ""
    return done.stdout


def test_put_off_libraries_are_real_when_used():
    output(SCRIPT)


def test_a_whole_check_reads_no_library_that_it_does_not_use(tmp_path):
    assert output(CHECK, str(FIXTURE), str(tmp_path / "out")) == "[]\n"


def test_templates_of_the_map_library_are_compiled_when_they_are_filled():
    output(TEMPLATES)
