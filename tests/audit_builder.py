"""Audits made of boxes, for the tests of the writers: no track, no computing, figures that can be checked in the head.

``worked_figure`` is the field 100 x 60 m with six 10 m passes of which the third is 1 m off:
100 m2 missed, 100 m2 double, 5 900 m2 covered, 6 000 m2 swept.
"""

import dataclasses
from itertools import pairwise

import shapely
from shapely import affinity

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.facts import Caution
from coverage_audit.ground.model import Areas, Strip
from coverage_audit.jobs.job import Job
from coverage_audit.jobs.settings import BoomSettings, FieldSettings, JobSettings, RateSettings, ReportSettings
from coverage_audit.rate.model import Volume
from coverage_audit.recipe.result import Audit, Checks, InputCount, Layers

ORIGIN = PlaneOrigin(lon_deg=-1.5, lat_deg=54.25)
START_S = 1_780_232_400.0
"""2026-05-31 13:00:00 UTC."""

NOWHERE = shapely.Polygon()


def box_strip(name, box, where="between passes", visits=0):
    """Make a finding that is the box (west, south, east, north) [m]."""
    west, south, east, north = box
    long_side, short_side = max(east - west, north - south), min(east - west, north - south)
    level = east - west >= north - south
    middle_x, middle_y = (west + east) / 2, (south + north) / 2
    ends = [(west, middle_y), (east, middle_y)] if level else [(middle_x, south), (middle_x, north)]
    return Strip(
        id=name,
        area_m2=long_side * short_side,
        length_m=long_side,
        mean_width_m=short_side,
        max_width_m=short_side,
        orientation_deg=90.0 if level else 0.0,
        where=where,
        polygon=shapely.box(*box),
        line=shapely.LineString(ends),
        label_point=shapely.Point(middle_x, middle_y),
        max_visits=visits,
    )


def slanted(strip):
    """Turn *strip*, which runs east-west, so that it runs northwest-southeast."""
    turned = {
        name: affinity.rotate(getattr(strip, name), -45, strip.label_point.coords[0])
        for name in ("polygon", "line", "label_point")
    }
    return dataclasses.replace(strip, orientation_deg=135.0, **turned)


def make_audit(
    field,
    passes,
    missed,
    double,
    *,
    settings=None,
    outside=NOWHERE,
    bridged=NOWHERE,
    excluded=NOWHERE,
    excluded_sprayed=NOWHERE,
    litres=84.0,
    cautions=(),
):
    """Audit of *field* [m]; missed and double ground is that of the findings, all else is sprayed once."""
    settings = settings or JobSettings(boom=BoomSettings(sections_m=(10.0,), intervals="segments"))
    target = shapely.difference(field, excluded)
    missed_ground = shapely.intersection(shapely.union_all([strip.polygon for strip in missed]), target)
    double_ground = shapely.intersection(shapely.union_all([patch.polygon for patch in double]), target)
    once = target - missed_ground - double_ground
    covered = once.area + double_ground.area
    swept_net = covered + outside.area + excluded_sprayed.area
    swept = swept_net + double_ground.area
    by_visits = (missed_ground, once, double_ground)
    lanes = tuple(lane for lane in passes)
    turns = tuple(shapely.LineString([a.coords[-1], b.coords[0]]) for a, b in pairwise(lanes))
    return Audit(
        job=Job(settings=settings, logs=(), boundary=(), sources=(("track.gpx", "ab" * 32),)),
        origin=ORIGIN,
        start_s=START_S,
        end_s=START_S + 1800,
        inputs=(InputCount("track.gpx", "ab" * 32, "GPX 1.1", 1812, 1800, {"bad_checksum": 0, "no_position": 12}, {}),),
        area_m2=Areas(
            field=field.area,
            target=target.area,
            covered=covered,
            missed=missed_ground.area,
            missed_slivers=max(0.0, missed_ground.area - sum(strip.area_m2 for strip in missed)),
            double=double_ground.area,
            double_slivers=0.0,
            double_bridged=0.0,
            by_visits=tuple(ground.area for ground in by_visits),
            bridged=bridged.area,
            outside=outside.area,
            excluded_sprayed=excluded_sprayed.area,
            swept=swept,
            swept_net=swept_net,
            reswept=0.0,
        ),
        distance_on_m=sum(lane.length for lane in lanes),
        distance_off_m=sum(turn.length for turn in turns),
        time_on_s=1500.0,
        time_off_s=290.0,
        time_gap_s=10.0,
        median_step_s=1.0,
        volume=Volume(
            applied_l=litres,
            source="flow",
            by_source={"flow": litres},
            target_l_ha=140.0,
            over_swept_l_ha=litres / swept * 1e4,
            over_covered_l_ha=litres / covered * 1e4,
            over_target_area_l_ha=litres / target.area * 1e4,
        ),
        missed_strips=tuple(missed),
        double_patches=tuple(double),
        checks=Checks(
            closure_rel=1e-12,
            cross_check_rel=1e-4,
            ok=True,
            raster_covered_m2=covered,
            raster_missed_m2=missed_ground.area,
            raster_double_m2=double_ground.area,
        ),
        layers=Layers(
            field=field,
            target=target,
            excluded=excluded,
            by_visits=by_visits,
            bridged=bridged,
            outside=outside,
            excluded_sprayed=excluded_sprayed,
            passes=lanes,
            transport=turns,
        ),
        on_intervals=((START_S, START_S + 1500),),
        sprayed_fields=("Long Piece",),
        cautions=tuple(cautions),
    )


def worked_figure(**settings_changes):
    """Build the audit of the worked 100 x 60 m figure; settings of the job can be changed by name."""
    settings = JobSettings(
        boom=BoomSettings(sections_m=(10.0,), intervals="segments"),
        name="Long Piece, first pass",
        timezone="Europe/London",
        timezone_given=True,
        rate=RateSettings(target_l_ha=140.0, flow_l_min=16.8),
    )
    middles = [5, 15, 26, 35, 45, 55]
    passes = [shapely.LineString([(0, y), (100, y)][:: 1 - 2 * (i % 2)]) for i, y in enumerate(middles)]
    return make_audit(
        shapely.box(0, 0, 100, 60),
        passes,
        [box_strip("M1", (0, 20, 100, 21))],
        [box_strip("D1", (0, 30, 100, 31), visits=2)],
        settings=dataclasses.replace(settings, **settings_changes),
    )


def large_job(units="metric"):
    """Build a 380 x 330 m field with a pond, twenty missed strips, a bridged gap and ground sprayed beyond."""
    width = 12.0
    field = shapely.Polygon([(0, 0), (380, 10), (372, 330), (160, 322), (150, 250), (4, 240)])
    pond = shapely.Point(250, 120).buffer(22)
    lanes = [
        shapely.LineString([(12 if y < 240 else 166, y), (360, y)][:: 1 - 2 * (i % 2)])
        for i, y in enumerate(range(18, 320, 12))
    ]
    missed = []
    for n, where in enumerate(["between passes", "between passes", "late on", "headland", "field edge"] * 4):
        west, south = 20 + 5 * n, 12 + width * n
        box = (west, south, west + 190 - 9 * n, south + 1.6 - 0.06 * n)
        missed.append(box_strip(f"M{n + 1}", box, where))
    missed[2] = slanted(missed[2])
    double = [box_strip("D1", (354, 24, 362, 320), "headland", 2), box_strip("D2", (6, 18, 14, 236), "headland", 3)]
    settings = JobSettings(
        boom=BoomSettings(sections_m=(4.0, 4.0, 4.0), intervals="csv", antenna_ahead_m=1.4, on_delay_s=0.4),
        name="Brackenhow, dock spraying",
        operator="Ines Falk",
        crop="Meadow hay",
        timezone="Europe/London",
        timezone_given=True,
        field=FieldSettings(setback_m=2.0),
        rate=RateSettings(target_l_ha=140.0, flow_l_min=20.0, label_max_l_ha=180.0),
        report=ReportSettings(units=units),
    )
    audit = make_audit(
        field,
        lanes,
        missed,
        double,
        settings=settings,
        excluded=pond,
        excluded_sprayed=shapely.box(226, 112, 240, 120) & pond,
        outside=shapely.box(376, 60, 381, 84) - field,
        bridged=affinity.translate(shapely.box(0, 0, 24, 12), 120, 60),
        litres=1500.0,
        cautions=(Caution("antenna place unknown"),),
    )
    return dataclasses.replace(audit, sprayed_fields=("Brackenhow",))
