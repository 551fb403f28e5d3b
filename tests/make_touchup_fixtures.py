"""Write the fixtures of the touch-up plan anew: python tests/make_touchup_fixtures.py.

Each is a job small enough to plan by hand: its inputs, ``expected.json``, and ``HOW.md`` with the
arithmetic. Prices are chosen so that it can be done in the head.
"""

import json
from pathlib import Path

import shapely
from jobs import FIELD_100_X_60, WORKED_X, parallel_passes
from make_fixtures import PLANE, boom_csv, gpx, job_toml
from simulator.files import to_geojson_text

FIXTURES = Path(__file__).parent.parent / "fixtures" / "touchup"
EVEN_X = (5.0, 15.0, 25.0, 35.0, 45.0, 55.0)
WHOLE_BOOM = 'width = "10 m"\nintervals = "boom.csv"'
RATE = '[rate]\ntarget = "100 L/ha"\nflow = "15 L/min"\n'
PRICES = """\
value = "500 /ha"
labour = "36 /h"
mix_cost = "0.20 /L"
spot_work = "900 m2/h"
speed = "2.5 m/s"
"""
PRICES_IN_WORDS = """\
- worth of cleaning: 500 /ha = 0.05 /m2; labour 36 /h = 0.01 /s; mix 0.20 /L; boom 2.5 m/s at 100 L/ha;
  wand 900 m2/h = 0.25 m2/s, at 100 L/ha too
"""


def write(name, files, expected, how):
    folder = FIXTURES / name
    folder.mkdir(parents=True, exist_ok=True)
    for file, text in {**files, "expected.json": json.dumps(expected, indent=1) + "\n", "HOW.md": how}.items():
        (folder / file).write_bytes(text.encode())


def place(x, y):
    lon, lat = PLANE.to_degrees([x], [y])
    return f"{lat[0]:.9f}, {lon[0]:.9f}"


def worked_files(name, boom=WHOLE_BOOM, extra="", prices=PRICES):
    """The field of 100 x 60 m whose third pass is 1 m off: one strip of 1 x 100 m."""
    times, points, intervals = parallel_passes(WORKED_X, 0.0, 100.0, hz=1.0)
    touchup = f"[touchup]\n{prices}"
    return {
        "job.toml": job_toml(name, "track.gpx", boom, RATE + extra + touchup),
        "track.gpx": gpx(times, points),
        "boom.csv": boom_csv(intervals),
        "field.geojson": to_geojson_text(FIELD_100_X_60, "field", PLANE),
    }


def strip_without_sections():
    write(
        "strip_without_sections",
        worked_files("One strip, no sections"),
        {
            "strips": {"M1": {"advice": "boom", "allowed": True, "cured_m2": 100, "resprayed_m2": 900}},
            "own_cost": {"M1": {"leave": 5.00, "spot": 4.20, "boom": 2.40}},
            "mix_l": 11.0,
            "after": {"missed_m2": 0, "double_m2": 1000},
        },
        f"""# A strip 1 m wide beside a boom of 10 m without sections

{PRICES_IN_WORDS}- strip 1 x 100 m = 100 m2, worth 100 x 0.05 = 5.00
- boom: 100 m at 2.5 m/s is 40 s = 0.40; 10 x 100 m = 1 000 m2 at 100 L/ha is 10 L = 2.00; together 2.40
- wand: 100 m2 at 0.25 m2/s is 400 s = 4.00; 1 L = 0.20; together 4.20
- sprayed again by the boom: 1 000 - 100 = 900 m2; with the 100 m2 that were double before, 1 000 m2 double
- mix: 10 L and a tenth in reserve (the default), 11 L
""",
    )


def strip_with_sections():
    write(
        "strip_with_sections",
        worked_files("One strip, three sections", 'sections = ["3 m", "4 m", "3 m"]\nintervals = "boom.csv"'),
        {
            "strips": {"M1": {"advice": "boom", "allowed": True, "cured_m2": 100, "resprayed_m2": 200}},
            "own_cost": {"M1": {"leave": 5.00, "spot": 4.20, "boom": 1.00}},
            "mix_l": 3.3,
            "after": {"missed_m2": 0, "double_m2": 300},
        },
        f"""# The same strip, a boom with sections of 3, 4 and 3 m

{PRICES_IN_WORDS}- only one end section of 3 m is opened: 3 x 100 m = 300 m2; 100 m2 cured, 200 m2 sprayed again
- boom: 40 s = 0.40; 300 m2 at 100 L/ha is 3 L = 0.60; together 1.00; wand 4.20 as before
- double afterwards: 100 + 200 = 300 m2; mix 3 L and a tenth: 3.3 L
""",
    )


def gaps(passes, holes):
    """On-intervals of *passes* with the boom shut from y0 to y1 in those named by *holes* {number: (y0, y1)}."""
    result = []
    for number, (on, off) in enumerate(passes):
        if number not in holes:
            result.append((on, off))
            continue
        low, high = holes[number]
        first, second = (low, high) if number % 2 == 0 else (100 - high, 100 - low)
        result += [(on, on + first / 2.5), (on + second / 2.5, off)]
    return result


def gap_files(name, holes, entry, more=None):
    times, points, intervals = parallel_passes(EVEN_X, 0.0, 100.0, hz=1.0)
    touchup = f'[touchup]\n{PRICES}turning_radius = "0.5 m"\nentry = "{place(*entry)}"\n'
    job = job_toml(name, "track.gpx", WHOLE_BOOM, RATE + touchup)
    if more:
        job = job.replace('boundary = "field.geojson"', 'boundary = "field.geojson"\nexclude = ["pond.geojson"]')
    return {
        "job.toml": job,
        "track.gpx": gpx(times, points),
        "boom.csv": boom_csv(gaps(intervals, holes)),
        "field.geojson": to_geojson_text(FIELD_100_X_60, "field", PLANE),
        **({"pond.geojson": to_geojson_text(more, "pond", PLANE)} if more else {}),
    }


def three_strips_in_order():
    write(
        "three_strips_in_order",
        gap_files("Three strips", {1: (40, 60), 3: (40, 58), 5: (40, 56)}, (26.0, 30.0)),
        {
            "strips": {name: {"advice": "boom", "allowed": True, "resprayed_m2": 0} for name in ("M1", "M2", "M3")},
            "order": ["M1", "M2", "M3"],
            "path_m": [108.9, 115.0],
            "after": {"missed_m2": 0, "double_m2": 0},
        },
        """# Three strips where the order matters

The boom was shut for a while in three passes; each strip is as wide as the boom, so nothing is
sprayed again. M1 at x = 15 from y = 40 to 60, M2 at x = 35 to 58, M3 at x = 55 to 56. The way
starts at (26, 30); the turning radius is only 0.5 m, so straight lines tell the order.

- nearest first: to M2 13.45 (9 across, 10 along), up 18, over to M3's top 20.10, down 16, back to M1
  40.00, up 20: 127.55 m; with M1 before M3 the same
- M1 first: 14.87 (11 across, 10 along), up 20, over to M2's top 20.10, down 18, over to M3 20.00, up 16:
  108.97 m
- the turns add a little to either: a half turn of radius 0.5 m about 0.6 m, entering M1 less than 1 m
""",
    )


def strip_behind_a_pond():
    pond = shapely.box(20, 35, 40, 55)
    write(
        "strip_behind_a_pond",
        gap_files("Behind the pond", {2: (70, 90)}, (30.0, 10.0), pond),
        {
            "strips": {"M1": {"advice": "boom", "allowed": True}},
            "order": ["M1"],
            "path_m": [82.7, 90.0],
            "after_missed_below_m2": 1,
        },
        """# A strip behind a pond

The pond is the square from (20, 35) to (40, 55), a no-spray area; the strip lies at x = 25 from
y = 70 to 90, the way starts at (30, 10).

- straight to the strip's near end: 5 across, 60 along, 60.2 m, but through the pond
- round its left side, touching the corners: to (20, 35) 10 across, 25 along = 26.93; along the side 20;
  to (25, 70) 5 across, 15 along = 15.81; together 62.74 m, and 20 m of strip: 82.74 m
- the way keeps 1 m off the pond, so it is a few metres longer, never shorter
""",
    )


def label_forbids():
    product = '[[product]]\nname = "Sorrelane 30"\nrate = "1 L/ha"\nmax_per_application = "1.2 L/ha"\n'
    product += 'max_per_season = "1.5 L/ha"\nphi = "14 days"\ngrazing = "7 days"\n'
    write(
        "label_forbids",
        worked_files("A limit on the season", extra=product),
        {
            "strips": {"M1": {"advice": "spot", "allowed": False, "cured_m2": 100, "resprayed_m2": 0}},
            "own_cost": {"M1": {"leave": 5.00, "spot": 4.20}},
            "mix_l": 1.1,
            "earliest_cut_days": 14,
            "earliest_grazing_days": 7,
            "after": {"missed_m2": 0, "double_m2": 100},
        },
        f"""# A limit that forbids the boom pass

{PRICES_IN_WORDS}- product 1 L/ha, most 1.2 L/ha an application and 1.5 L/ha a season (invented)
- boom: each application is 1.0 L/ha, within 1.2; but on the 900 m2 sprayed again the season has
  1.0 + 1.0 = 2.0 L/ha, more than 1.5: not allowed
- wand: only missed ground, 1.0 L/ha in all: allowed; 4.20 and the way is less than 5.00, so the wand
- earliest cut 14 days, earliest grazing 7 days after the touch-up
""",
    )


def tie():
    prices = (
        'value = "500 /ha"\nlabour = "0 /h"\nmix_cost = "0.50 /L"\nspot_rate = "1000 L/ha"\n'
        'spot_work = "900 m2/h"\nspeed = "2.5 m/s"\n'
    )
    write(
        "tie",
        worked_files("A tie", prices=prices),
        {
            "strips": {"M1": {"advice": "leave", "allowed": True, "cured_m2": 0, "resprayed_m2": 0}},
            "own_cost": {"M1": {"leave": 5.00, "spot": 5.00, "boom": 5.00}},
            "mix_l": 0,
            "after": {"missed_m2": 100, "double_m2": 100},
        },
        """# A tie

Worth 0.05 /m2, labour costs nothing, mix 0.50 /L, the wand puts down 1 000 L/ha.

- leave: 100 m2 x 0.05 = 5.00
- wand: 100 m2 at 1 000 L/ha is 10 L = 5.00
- boom: 1 000 m2 at 100 L/ha is 10 L = 5.00
- all the same: the least is sprayed, so it is left
""",
    )


ALL = (strip_without_sections, strip_with_sections, three_strips_in_order, strip_behind_a_pond, label_forbids, tie)

if __name__ == "__main__":
    for make in ALL:
        make()
