"""A library put off is read when it is asked for something, and whoever imports it afterwards has the real one."""

import subprocess
import sys

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
import coverage_audit.papers.page
print([name for name in ("pandas", "geopandas", "requests", "scipy") if name in sys.modules])
"""


def test_put_off_libraries_are_real_when_used_and_a_report_reads_no_frames():
    done = subprocess.run([sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=False)
    assert (done.stdout, done.stderr) == ("[]\n", "")
