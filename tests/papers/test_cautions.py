"""Cautions: stages tell codes with values, papers tell sentences; one sentence a code, in the person's units."""

import ast
import json
from pathlib import Path

import pytest
from audit_builder import large_job
from cautions_of_files import TOLD_OF_FILES
from metric_units import METRIC_UNIT

from coverage_audit.facts import Caution
from coverage_audit.papers.summary import summary_json
from coverage_audit.papers.words.cautions import SENTENCES, texts

PACKAGE = Path(__file__).parents[2] / "coverage_audit"

TOLD = [
    (
        Caution("dropped", file="a.gpx", lost=3, read=90, reasons=(("no_position", 1), ("duplicate", 2))),
        "a.gpx: 3 of 90 fixes could not be used (1 no position, 2 duplicate).",
    ),
    (Caution("bad checksum", file="a.nmea", count=4), "a.nmea: 4 sentences with a bad checksum were skipped."),
    (
        Caution("midnight", file="a.nmea"),
        "a.nmea runs past midnight UTC; times after it were taken as the next day's.",
    ),
    (
        Caution("tracks sorted", file="a.gpx"),
        "a.gpx: its tracks are not in time order; they were sorted by their times, and no fix was lost by it.",
    ),
    (
        Caution("positions uncorrected"),
        (
            "The log says that its positions are uncorrected. A phone or a receiver without corrections is off "
            "by a metre or more: a strip narrower than that may not be there, and one as narrow may be missing here."
        ),
    ),
    (
        Caution("positions of unknown quality"),
        (
            "The log does not say how good its positions are. A phone or a receiver without corrections is "
            "off by a metre or more: a strip narrower than that may not be there, and one as narrow may be missing "
            "here."
        ),
    ),
    (
        Caution("fixes far apart", spacing_m=11.6, step_s=4.04),
        (
            "Fixes lie 12 m apart while spraying (one every 4.0 s): narrow skips and the places of switching are "
            "guesses. Log one fix a second, no distance filter."
        ),
    ),
    (
        Caution("gap", count=3, seconds=41.2),
        (
            "The log has 3 gap(s) while the boom was on, 41 s in all, too long or too crooked to bridge: whether "
            "ground was sprayed in them nobody can say from this log."
        ),
    ),
    (
        Caution("sprayed elsewhere", outside_m2=118_600.0),
        (
            "11.86\u00a0ha were sprayed outside this field: does the log hold another field? coverage-audit day cuts a "
            "day's log by field."
        ),
    ),
    (
        Caution("bridged", share=0.01234, count=2),
        "1.23 % of the target rests on bridging 2 gap(s) of the log and is not counted as proven.",
    ),
    (
        Caution("antenna place unknown"),
        (
            "The job file does not say where the antenna stands (boom.antenna_ahead); it was taken to be right above "
            "the boom. Every switching place is off by the true distance."
        ),
    ),
    (
        Caution(
            "boom from machine",
            name="Linnet sprayer",
            keys=("sections", "antenna_ahead", "antenna_right"),
            width_m=9.0,
            count=3,
            ahead_m=3.4,
        ),
        (
            "Taken from what Linnet sprayer says of itself in the log: the boom is 9.00 m wide in 3 sections, the "
            "antenna is 3.40 m ahead of it, and its place to the side is known. Measure once whether that is so."
        ),
    ),
    (
        Caution("machine width", name="Linnet sprayer", machine_m=9.0, width_m=10.0),
        (
            "The job file says that the boom is 10.00 m wide, Linnet sprayer says 9.00 m in the log; the job file was "
            "followed."
        ),
    ),
    (
        Caution("towed boom backed up"),
        "A towed boom was backed up farther than its own width; where it swung to cannot be told from the track.",
    ),
    (
        Caution(
            "direction unsure",
            times_s=((0.0, 330.0), (3600.0, 3661.0)),
            back=False,
            mirrored_m=(-2.0, 0.0),
            on_m=401.2,
            apart_m=4.0,
        ),
        (
            "The drive goes back over its own ways (00:00:00 to 00:05:30, 01:00:00 to 01:01:01 UTC, 401 m of them "
            "sprayed), and this log does not tell which of them were driven in reverse. The first was taken to be "
            "driven forwards; if it was not, the boom was 4.0 m from where it is drawn, and no figure holds there. If "
            'so, make a job of that time (track.from, track.to) with boom.antenna_ahead = "-2 m". A log that begins '
            "on the way to the field tells it, and so do on-times where the boom was off on the ways back."
        ),
    ),
    (
        Caution("delays swallow", count=2),
        "2 boom-on times vanish once the valve delays are applied: they are shorter than the delays.",
    ),
    (
        Caution("on beyond track", count=5),
        "5 boom-on times reach beyond the track's first or last fix; only the part inside is audited.",
    ),
    (
        Caution("one segment", seconds=2520.0),
        (
            "The log has one segment, so the boom was taken as on for 42 min without a break, turns included. If the "
            "recording was not stopped with the boom, use marks or a list of times instead."
        ),
    ),
    (
        Caution("first mark off"),
        'The first mark is "boom off": the boom was taken to be on from the start of the track.',
    ),
    (
        Caution("last mark on"),
        'The last "boom on" has no "boom off": the boom was taken to be on until the last fix.',
    ),
    (
        Caution("marks repeat", times_s=(0.0, 3661.0)),
        (
            '2 boom mark(s) repeat the state before them and were ignored (00:00:00, 01:01:01 UTC): a "boom off" or '
            '"boom on" is missing before each, so the boom was taken as unchanged until then. Add the missing marks.'
        ),
    ),
    (
        Caution("turns coarse"),
        (
            "The boom turned about so often while it was on that its turns were worked out more coarsely than usual: "
            "check that the fixes do not leap about and that the boom was off while standing."
        ),
    ),
    (
        Caution("circles coarse", lat=-41.2, lon=-70.5, first_s=3600.0, last_s=3661.0),
        (
            "The boom was on while it went round and round, most of all about -41.200000, -70.500000 (lat, lon; "
            "01:00:00 to 01:01:01 UTC): where such ground was sprayed a second time was worked out more coarsely than "
            "usual, to within half a boom width."
        ),
    ),
    (
        Caution("circles left out", lat=-41.2, lon=-70.5, first_s=3600.0, last_s=3661.0),
        (
            "The boom was on while it went round and round about -41.200000, -70.500000 (lat, lon; 01:00:00 to "
            "01:01:01 UTC), more often than can be counted: between a first and a last round that "
            "time was left out of the areas. Ground there may have been sprayed more often than is told, and ground "
            "that is called missed beside it may not be."
        ),
    ),
    (
        Caution("remembered", count=2, most_s=60.0),
        (
            "REMEMBERED: when the boom was on rests in 2 rows on what a person remembers, right to within 60 s at the "
            "loosest. Every range here holds that; no figure is proof of coverage."
        ),
    ),
    (
        Caution("remembered idle", rows=(("07:42", False), ("08:05", True))),
        (
            "Remembered, but the boom was so already by the rest of the boom state: 07:42 (off), 08:05 (on). Check the "
            "time, and job.timezone, if that puzzles you."
        ),
    ),
    (
        Caution("fields left out", names=("East bench", "Alder"), taken=("West",)),
        (
            "The field is West, where the boom was on. Not sprayed in this job, so left out of every figure: "
            "East bench, Alder."
        ),
    ),
    (
        Caution("edge driven", area_m2=23_100.0, low_m2=22_800.0, high_m2=23_600.0, fence_given=False),
        (
            "The field's outline is the edge that this very job drove, moved out by half the boom: 2.31\u00a0ha, "
            "in nine of ten such fields truly 2.28\u00a0ha to 2.36\u00a0ha. That goes round in a circle: ground beyond "
            "the boom's reach is not known, nothing can be told missed at the edge, and nothing is proven. The "
            "boom's end was taken to run along the fence; say field.grow if it kept away from it."
        ),
    ),
    (
        Caution("driven round", islands=((300.0, 44.5, -116.25),)),
        (
            "Driven round and not over: 300\u00a0m² at 44.50000, -116.25000. Each counts as field that was missed; "
            "if it is no ground to spray (a pond, trees), name its outline under field.exclude."
        ),
    ),
    (
        Caution("much double", share=0.316, width_m=9.0),
        (
            "32 % of the target area counts as sprayed twice or more: check that the boom is really 9 m wide "
            "(boom.width) and that its on-times are right."
        ),
    ),
    (
        Caution("counts differ", cross_check_rel=0.00123, closure_rel=1.6e-7),
        (
            "The two independent counts of the ground do not agree (by 0.123 % of the field; sums close to 1.6e-07): "
            "do not rely on this audit."
        ),
    ),
    (
        Caution("other unread", job="tractor", why="boom.csv: it is empty"),
        (
            "tractor, which did the rest of the field, cannot be read; its ground counts as missed here. "
            "boom.csv: it is empty"
        ),
    ),
    (
        Caution("other assumed", job="tractor"),
        "Nobody logged when tractor was on, so what it took of this field is not known and counts as missed here.",
    ),
    (
        Caution("other product", job="tractor"),
        "tractor sprayed other products: that is another treatment, so what it took counts as missed here.",
    ),
    (
        Caution("other elsewhere", job="tractor"),
        "tractor sprayed nothing of this field; check job.together.",
    ),
    (
        Caution("no rate surface"),
        (
            "The sprayed ground is too large, or in too many parts, for a rate on every spot: rates are means of the "
            "whole job, and no tank is followed. Audit it in smaller jobs."
        ),
    ),
    (
        Caution("rate not closed", off=-0.0123),
        "The spray applied to the ground is -1.23 % off what left the nozzles: do not rely on the rates.",
    ),
    (
        Caution("large rate cells", usual_m=0.25, cell_m=0.5),
        (
            "The sprayed ground is too large for cells of 0.25 m: rates are means over cells of 0.5 m, in which narrow "
            "stripes of too much or too little are lost. Smaller jobs tell more."
        ),
    ),
    (
        Caution("sources disagree", source="nozzles", other="applied", apart=0.12),
        (
            "Sources of the volume disagree: the volume that left the tank gives 12.0 % more than the nozzles at their "
            "pressure, on which every rate here rests. More measured than computed usually means worn nozzles, a "
            "pressure higher than stated, a leak, or a meter that is not calibrated: catch the nozzles."
        ),
    ),
    (
        Caution("refills assumed", count=2),
        (
            "The refill times are not in the job file: 2 long stop(s) with the boom off were taken for refills. Give "
            "them as rate.refills."
        ),
    ),
    (
        Caution("refills missing", count=1),
        "1 refill(s) could not be placed: too few long stops with the boom off. Give the times as rate.refills.",
    ),
    (
        Caution("perhaps dry", count=2, first=3, share=0.0456),
        (
            "The tank may have run dry (2 load(s)) with the boom switched on, first in load 3. 4.56 % of the target "
            "was sprayed only after that and may have got nothing."
        ),
    ),
    (
        Caution("spacing off", spacing_m=9.0, width_m=10.0),
        (
            "The passes lie 9.0 m apart all over the field, 10 % closer than the boom is wide by the job file (10 m). "
            "If the boom is not 9.0 m wide (boom.width), the passes overlap on purpose; every area here rests on the "
            "width stated."
        ),
    ),
    (
        Caution("two spacings", first_m=9.0, later_m=12.0, count=8, width_m=9.0),
        (
            "The first 8 passes lie 9.0 m apart, those after them 12.0 m. Did two machines spray this field, or was "
            "part of the boom folded? Every area here rests on one boom of 9 m (boom.width): with two, make a job of "
            "each."
        ),
    ),
    (
        Caution("outline shifted", shift_m=3.61, heading_deg=124.0, error_m=0.11),
        (
            "The outline lies 3.6 m (give or take 0.2 m) to the southeast of where the headland laps run: it was drawn "
            "off, or the positions in the log are off by as much. It was not moved. Until that is settled, ground "
            "along the edge counts as missed on one side and as beyond the field on the other."
        ),
    ),
    (
        Caution("never driven", share=0.48, area_m2=21_000.0),
        (
            "2.10\u00a0ha in one piece, 48 % of the target, was never driven over in these logs. Is another log of "
            "this job missing (track.files)? Until that is settled, missed ground says nothing there."
        ),
    ),
    (
        Caution("outline elsewhere", shift_m=64.6, heading_deg=40.0, share=0.973),
        (
            "Moved some 65 m to the northeast the outline would fit this drive, 97 % of it driven over. Is it the "
            "outline of this field, and in its place? It was not moved. Until that is settled, neither missed ground "
            "nor ground outside says anything."
        ),
    ),
    (
        Caution("clock off", shift_s=-3600.0),
        (
            "The boom's on-times fit the drive far better when they are moved 1 h earlier: they would then begin and "
            "end where the machine turned. A clock or a time zone is off by that. Nothing was moved, and no figure "
            'here holds until it is settled: correct the times, or set track.clock_offset = "3600 s".'
        ),
    ),
    (
        Caution("long pause", pause_s=40 * 86_400.0),
        (
            "These logs hold a pause of 40\u00a0days. A job is one treatment of a field: if what lies on one side of "
            "the pause is another, this audit takes both for one. Cut the logs into jobs with coverage-audit day, or "
            "write track.from and track.to."
        ),
    ),
    (
        Caution("other field", area_m2=21_000.0),
        (
            "Outside this field about 2.10\u00a0ha were driven in passes beside each other: the log holds another "
            "field. It is no part of this audit. Cut a whole day's log into one job a field with coverage-audit day, "
            "or write track.from and track.to."
        ),
    ),
    (
        Caution("antenna beside", beside_m=-0.5, error_m=0.04),
        (
            "All over the field passes lie closer to the neighbour on one hand than on the other, as if the antenna "
            "stood 0.50 m (give or take 0.08 m) farther to the left of the boom's middle than the job file says "
            "(boom.antenna_right), or the driver always held the boom to that side. Nothing was moved: if it is the "
            "antenna, part of what is told as missed or double between passes was neither."
        ),
    ),
    (
        Caution("switches lag", lag_m=6.25, lag_s=2.5, count=11),
        (
            "On 11 passes the boom comes on and goes off 6.2 m, or 2.5 s, too late at both ends. Either the two clocks "
            'differ by that (track.clock_offset = "2.5 s" would bring them together), or spray and switch do '
            "(boom.on_delay, boom.off_delay), or the antenna stands 6.2 m farther forward than said "
            "(boom.antenna_ahead). Nothing was moved."
        ),
    ),
]
EVERY = (*TOLD, *TOLD_OF_FILES)
"""Every code with values as the stages give them, and its sentence in metric units, letter by letter."""


@pytest.mark.parametrize(("caution", "sentence"), EVERY, ids=[one.code for one, _ in EVERY])
def test_metric_sentence_to_the_letter(caution, sentence):
    assert texts([caution], "metric") == [sentence]


@pytest.mark.parametrize("caution", [one for one, _ in EVERY], ids=lambda one: one.code)
def test_us_sentence_has_no_metric_unit(caution):
    (sentence,) = texts([caution], "us")
    assert not METRIC_UNIT.search(sentence)


def test_the_search_for_metric_units_finds_those_of_the_metric_sentences():
    found = [caution.code for caution, sentence in EVERY if METRIC_UNIT.search(sentence)]
    assert found == [
        "positions uncorrected",
        "positions of unknown quality",
        "fixes far apart",
        "sprayed elsewhere",
        "boom from machine",
        "machine width",
        "direction unsure",
        "edge driven",
        "driven round",
        "much double",
        "large rate cells",
        "spacing off",
        "two spacings",
        "outline shifted",
        "never driven",
        "outline elsewhere",
        "other field",
        "antenna beside",
        "switches lag",
        "sections apart",
        "rate logged",
        "volume counted",
        "width varied",
        "outline closed",
        "outline repaired",
    ]


@pytest.mark.parametrize(
    ("caution", "told"),
    [
        (Caution("fixes far apart", spacing_m=11.6, step_s=4.0), "Fixes lie 38 ft apart"),  # 11.6 / 0.3048 = 38.06
        (Caution("much double", share=0.3, width_m=9.144), "really 30 ft wide"),  # 30 x 0.3048 m
        (Caution("much double", share=0.3, width_m=9.0), "really 29.5 ft wide"),
        (
            Caution("large rate cells", usual_m=0.25, cell_m=0.5),
            "rates are means over cells of 1.6 ft",
        ),
    ],
)
def test_lengths_are_told_in_feet(caution, told):
    assert told in texts([caution], "us")[0]


def test_a_doubt_too_small_to_be_told_is_no_more_than_less_than():
    (told,) = texts([Caution("outline repaired", place="a.json", doubt_m2=0.001)], "metric")
    assert told.endswith("no reading of it differs by 0.1\u00a0m² or more.")


def test_of_many_fields_some_are_named_and_the_others_counted():
    (told,) = texts([Caution("fields left out", names=tuple("abcdefghijkl"), taken=("West", "North"))], "metric")
    assert told.startswith("The field is West, North, where the boom was on.")
    assert told.endswith("so left out of every figure: a, b, c, d, e, f, g and 5 more.")


def codes_told():
    """Every code that a stage gives to a ``Caution``, by reading the package."""
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "Caution":
                first = node.args[0]
                choices = [first.body, first.orelse] if isinstance(first, ast.IfExp) else [first]
                yield from (one.value for one in choices)


@pytest.mark.parametrize(
    ("places", "told"),
    [
        (
            {"ahead_m": (2.26, -0.44, 4.07), "right_m": (0.1, -0.06, 0.26)},
            (
                "between 0.4 m behind and 4.1 m ahead of the boom, most likely 2.3 m ahead by when it was switched, "
                "and between 0.1 m left and 0.3 m right of its middle"
            ),
        ),
        ({"ahead_m": None, "right_m": (0.1, -0.06, 0.26)}, "between 0.1 m left and 0.3 m right of its middle"),
        (
            {"ahead_m": (2.26, 0.44, 4.07), "right_m": None},
            "between 0.4 m ahead and 4.1 m ahead of the boom, most likely 2.3 m ahead by when it was switched",
        ),
    ],
)
def test_an_antenna_whose_place_is_drawn_is_told_with_the_places(places, told):
    (sentence,) = texts((Caution("antenna place unknown", **places),), "metric")
    assert sentence == (
        "The job file does not say where the antenna stands (boom.antenna_ahead). Areas, strips and map take it right "
        f"above the boom's middle; ranges and chances take it {told}. Measure once from the boom forward to the "
        "antenna, and from its middle to the side: that makes all of them sharper."
    )


def test_every_code_has_a_sentence_and_every_sentence_a_code():
    codes = set(codes_told())
    assert codes == set(SENTENCES)
    assert [caution.code for caution, _ in EVERY] == list(SENTENCES)


def test_cautions_can_be_compared_hashed_and_not_changed():
    one = Caution("gap", count=3, seconds=41.0)
    assert one == Caution("gap", count=3, seconds=41.0)
    assert one != Caution("gap", count=2, seconds=41.0)
    assert len({one, Caution("gap", count=3, seconds=41.0)}) == 1
    with pytest.raises(AttributeError):
        one.code = "bridged"
    assert repr(one) == "Caution(code='gap', values=(('count', 3), ('seconds', 41.0)))"


def test_summary_holds_sentences():
    assert json.loads(summary_json(large_job()))["cautions"] == [
        (
            "The job file does not say where the antenna stands (boom.antenna_ahead); it was taken to be right above "
            "the boom. Every switching place is off by the true distance."
        )
    ]
