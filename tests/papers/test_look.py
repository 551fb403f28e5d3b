"""A log described before any audit."""

import re

import numpy as np
import pytest
from conftest import gpx_of

from coverage_audit.cli import command as cli
from coverage_audit.drive.tolerances import GAP_STEPS
from coverage_audit.errors import InputError
from coverage_audit.jobs.read import read_job
from coverage_audit.papers.words import display
from coverage_audit.recipe.audit import audit_job


def look(capsys, *arguments):
    code = cli.main(["look", *map(str, arguments)])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def test_a_slow_log_has_no_gap_shorter_than_what_counts_as_one(small_job, capsys):
    """One fix in seven seconds: steps of up to three of them are how it logs, and five seconds are no gap."""
    points = [(7.0 * k, 45.0 + k * 1e-4, 7.0) for k in range(100)]
    small_job.write("slow.gpx", gpx_of(points))
    out = look(capsys, small_job.folder / "slow.gpx")[1]
    assert "one every 7 s" in out
    assert f"Gaps: none longer than {7 * GAP_STEPS:.3g} s" in out


def test_a_good_log(small_job, capsys):
    code, out, err = look(capsys, small_job.folder / "track.gpx", "--timezone", "America/Boise")
    assert (code, err) == (0, "")
    assert "one every 1 s" in out
    assert "30 May 2026, 13:00 UTC" in out
    assert "30 May 2026, 07:00 MDT" in out
    assert "Gaps: none" in out
    assert "Boom state: none in this log" in out
    assert out.rstrip().endswith("dense enough to audit.")


def test_gaps_are_counted_and_placed(small_job, capsys):
    fixes, _ = small_job.drive()
    small_job.write("track.gpx", small_job.gpx_of([one for one in fixes if not 100 <= one[0] < 130]))
    _, out, _ = look(capsys, small_job.folder / "track.gpx")
    assert re.search(r"Gaps: 1, 31.s in all: 31.s at 13:01", out)


def test_a_sparse_log_is_told_what_to_set(small_job, capsys):
    fixes, _ = small_job.drive()
    small_job.write("track.gpx", small_job.gpx_of(fixes[::10]))
    _, out, _ = look(capsys, small_job.folder / "track.gpx")
    assert "too sparse to audit (10 s" in out
    assert "one fix a second, no distance filter" in out


def test_a_log_with_switch_and_quality(tmp_path, capsys):
    from nmea_text import sentence  # noqa: PLC0415 - only this test needs it

    lines = []
    for second in range(20):
        clock = f"1300{second:02d}.00"
        lines.append(sentence(f"GPRMC,{clock},A,4336.{second:04d},N,11612.0000,W,5.0,0.0,300526,,,D"))
        lines.append(sentence(f"GPGGA,{clock},4336.{second:04d},N,11612.0000,W,4,11,0.8,900.0,M,,M,,"))
        lines.append(sentence(f"IIXDR,S,{int(second > 5)},,BOOM"))
    path = tmp_path / "log.nmea"
    path.write_text("".join(lines))
    _, out, _ = look(capsys, path)
    assert "RTK fixed 100" in out
    assert 'intervals = "log"' in out
    assert "satellites 11 to 11" in out
    assert "HDOP median 0.8" in out


@pytest.mark.parametrize("arguments", [["nowhere.gpx"], ["nowhere.gpx", "--timezone", "Mars/Base"]])
def test_what_is_not_there_is_refused_in_one_line(arguments, capsys):
    code, out, err = look(capsys, *arguments)
    assert code == 2
    assert out == ""
    assert err.count("\n") == 1


def test_a_name_steers_no_terminal(small_job, capsys):
    path = small_job.folder / "\x1b[31mred.gpx"
    path.write_bytes((small_job.folder / "track.gpx").read_bytes())
    _, out, _ = look(capsys, path)
    assert "\x1b" not in out


def test_a_log_whose_fixes_share_one_time_is_described(small_job, capsys):
    fixes, _ = small_job.drive()
    small_job.write("track.gpx", small_job.gpx_of([(0.0, *one[1:]) for one in fixes]))
    code, out, err = look(capsys, small_job.folder / "track.gpx")
    assert (code, err) == (0, "")
    assert "every fix has the same time" in out


def test_gaps_are_weighed_in_the_verdict(small_job, capsys):
    """A pass driven in a gap is told beside "dense enough"; a stop without fixes is not."""
    fixes, _ = small_job.drive()
    small_job.write("track.gpx", small_job.gpx_of([one for one in fixes if not 40 <= one[0] < 80]))
    _, out, _ = look(capsys, small_job.folder / "track.gpx")
    verdict = out[out.index("Verdict:") :]
    assert re.search(r"dense enough to audit\. But 1 gap\(s\) hold [\d.]+.m of the way \([\d.]+.%\)", verdict)
    small_job.write("track.gpx", small_job.gpx_of([(t + 600 * (t >= 40), x, y) for t, x, y in fixes]))
    _, out, _ = look(capsys, small_job.folder / "track.gpx")
    assert "Gaps: 1" in out
    assert out.rstrip().endswith("dense enough to audit.")


def test_a_log_that_runs_backwards_in_time_is_told_so(small_job, capsys):
    fixes, _ = small_job.drive()
    small_job.write("track.gpx", small_job.gpx_of(fixes[::-1]))
    code, out, err = look(capsys, small_job.folder / "track.gpx")
    assert (code, err) == (0, "")
    assert "never go forwards in time" in out


def test_standing_is_that_of_the_report(small_job, capsys):
    """Two stops of some minutes among passes, fixes a second apart that scatter by half a metre all the while."""
    rng = np.random.default_rng(3)
    fixes, intervals = small_job.drive()
    driven, late = [], 0
    for seconds, east, north in fixes:
        driven.append((seconds + late, east, north))
        if seconds in (41, 400):  # between passes, boom off
            driven += [(seconds + late + k, east, north) for k in range(1, 300)]
            late += 299
    scattered = [(t, east + rng.normal(0, 0.5), north + rng.normal(0, 0.5)) for t, east, north in driven]
    moved = [[one + 299 * ((one > 41) + (one > 400)) for one in pair] for pair in intervals]
    small_job.write("track.gpx", small_job.gpx_of(scattered))
    rows = "".join(f"{small_job.stamp(on)},{small_job.stamp(off)}\n" for on, off in moved)
    small_job.write("boom.csv", f"on,off\n{rows}")
    stood = audit_job(read_job(small_job.path)).passes.time_by_kind_s()["standing"]
    assert 560 < stood < 640
    _, out, _ = look(capsys, small_job.folder / "track.gpx")
    assert f"standing {display.duration(stood)}" in out


@pytest.mark.parametrize(
    "points",
    [
        [(0.0, 5.0, 10.0)],
        [(1.0, 5.0, 10.0), (0.0, 5.0, 12.0)],  # the clock runs backwards, so one of them is dropped
    ],
)
def test_what_the_audit_refuses_as_too_short_is_not_called_dense(small_job, capsys, points):
    small_job.write("track.gpx", small_job.gpx_of(points))
    with pytest.raises(InputError, match="fewer than two usable fixes") as refused:
        audit_job(read_job(small_job.folder / "job.toml"))
    _, out, _ = look(capsys, small_job.folder / "track.gpx")
    assert out.rstrip().endswith(f"Verdict: cannot be audited: {refused.value.what}.")
