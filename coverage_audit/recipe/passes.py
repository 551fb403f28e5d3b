"""The part of the recipe that tells the passes: diary, steering, switching."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from coverage_audit.passes.diary import keep_diary
from coverage_audit.passes.left_out import left_out
from coverage_audit.passes.model import (
    GAP,
    HEADLAND,
    REVERSING,
    STANDING,
    STRAIGHT,
    Fixed,
    LapPiece,
    Pass,
    PassResult,
    Spacing,
    Span,
)
from coverage_audit.passes.pass_ground import area_in, lap_pieces, pass_cells
from coverage_audit.passes.steering import deviations, driven_passes, find_neighbours, judge, spacings
from coverage_audit.passes.switching import boom_over, inside_headland, place_at, switched
from coverage_audit.passes.tolerances import DRAWN_PATH_M, LAP_CELL_WIDTHS
from coverage_audit.passes.way import white_noise_m

from .cautions import width_cautions
from .edge import edge_cautions
from .tolerances import LAP_TURN_DEG, LINE_STEP_M, PASS_LINE_M
from .width import spacing_cautions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from coverage_audit.arrays import FloatArray
    from coverage_audit.drive.model import BoomPath, Timeline, Track
    from coverage_audit.facts import Caution
    from coverage_audit.ground.model import Ground
    from coverage_audit.passes.diary import Diary
    from coverage_audit.passes.steering import Driven, Neighbours

    from .result import Audit


def with_passes(audit: Audit, track: Track, path: BoomPath, timeline: Timeline, ground: Ground) -> Audit:
    """*audit* with its passes, their steering and switching."""
    width = audit.job.settings.boom.width_m
    on_off = stretches(timeline)
    on = np.searchsorted(on_off.ravel(), track.time_s, side="right") % 2 == 1
    diary = keep_diary(antenna_fixes(track, on), ground.outer, width, breaks_of(path))
    fixed = boom_fixes(track, path, on, diary)
    driven = driven_passes(fixed, diary.spans)
    off = deviations(driven, fixed.noise_m)
    pairs = find_neighbours(driven, width)
    found = spacings(driven, pairs, width, fixed.noise_m)
    middles = np.array([_middle_s(diary.spans[one.number]) for one in found])
    steering = judge(diary.directions_deg, [one[2] for one in off], found, middles, fixed.noise_m)
    entries = _entries(diary, fixed, on_off)
    for one, (deviation, curved, _) in zip(driven, off, strict=True):
        entries[one.number] = replace(entries[one.number], deviation=deviation, curved=curved)
    _add_switching(entries, fixed, on_off, ground, width)
    _add_neighbours(entries, driven, pairs, found)
    _add_ground(entries, driven, pairs, audit, width)
    passes = _in_order(entries, diary)
    numbers = [one.n for one in entries]
    named = tuple(replace(one, number=numbers[one.number], neighbour=numbers[one.neighbour]) for one in found)
    gaps = left_out(audit.layers.by_visits[0], passes, width)
    shifted = edge_cautions(audit.job.settings, track, path, diary.spans, ground.outer)
    cautions = (*_with_spacing(audit, spacing_cautions(named, middles, path, ground.outer, width)), *shifted)
    return replace(audit, cautions=cautions, passes=PassResult(passes, steering, {}, named, gaps))


def _with_spacing(audit: Audit, found: list[Caution]) -> tuple[Caution, ...]:
    """Cautions after the one of width against spacing, which then stands for the one of much double ground."""
    said = width_cautions(audit.area_m2, audit.job.settings.boom.width_m) if found else []
    return (*found, *(one for one in audit.cautions if one not in said))


def stretches(timeline: Timeline) -> FloatArray:
    """Times (k, 2) of each stretch: spraying with any section, without a break. [s]"""
    fresh = np.flatnonzero(np.diff(timeline.stretch, prepend=-1))
    last = np.append(fresh[1:], len(timeline.stretch)) - 1
    return np.column_stack([timeline.start_s[fresh], timeline.end_s[last]])


def breaks_of(path: BoomPath) -> list[Span]:
    """Where the vehicle backed up, and the gaps of the log."""
    found = []
    for kind, inside in ((REVERSING, path.reverse[:-1]), (GAP, path.gap_after[:-1])):
        edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8)))
        found += [
            Span(kind, float(path.time_s[a]), float(path.time_s[b]))
            for a, b in zip(edges[::2], edges[1::2], strict=True)
        ]
    return found


def antenna_fixes(track: Track, on: np.ndarray | None) -> Fixed:
    """The antenna at every fix: turns show best where nothing swings."""
    return Fixed(track.time_s, track.x_m, track.y_m, white_noise_m(track.time_s, track.x_m, track.y_m), on)


def boom_fixes(track: Track, path: BoomPath, on: np.ndarray | None, diary: Diary) -> Fixed:
    """The boom's centre at every fix, and the noise that smoothing has left in it.

    Smoothing by least squares takes off the scatter that lies between fix and path; what the noise
    has beyond that is left.
    """
    x, y, heading = (np.interp(track.time_s, path.time_s, one) for one in (path.x_m, path.y_m, path.heading_rad))
    ends = [moment for span in diary.spans if span.kind == STRAIGHT for moment in (span.start_s, span.end_s)]
    straight = np.searchsorted(np.array(ends), track.time_s, side="right") % 2 == 1
    noise = white_noise_m(track.time_s, track.x_m, track.y_m, heading, straight)
    aside = ((track.x_m - x) * np.cos(heading) - (track.y_m - y) * np.sin(heading))[straight]
    if not len(aside):
        return Fixed(track.time_s, x, y, noise, on)
    taken = float(np.median(np.abs(aside - np.median(aside)))) * 1.4826
    return Fixed(track.time_s, x, y, float(np.sqrt(max(noise**2 - taken**2, 0.0))), on)


def _middle_s(span: Span) -> float:
    return (span.start_s + span.end_s) / 2


# --- one entry for each span ---------------------------------------------------------------------


def _entries(diary: Diary, fixed: Fixed, on_off: FloatArray) -> list[Pass]:
    """An entry for each span; headland laps and straight passes numbered first, in driving order."""
    spans = diary.spans
    order = sorted(range(len(spans)), key=lambda k: (spans[k].kind not in (HEADLAND, STRAIGHT), k))
    numbers = {k: place + 1 for place, k in enumerate(order)}
    lines = _lines(diary, fixed)
    return [_entry(diary, on_off, span, numbers[k], lines[k]) for k, span in enumerate(spans)]


def _entry(diary: Diary, on_off: FloatArray, span: Span, number: int, line: BaseGeometry) -> Pass:
    within = [one for one in diary.within if span.start_s <= one.start_s < span.end_s]
    way = diary.way
    ends = np.array([span.start_s, span.end_s])
    length = float(np.ptp(np.interp(ends, way.time_s, way.along_m)))
    a, b = np.searchsorted(way.time_s, ends)
    heading = way.heading_rad[a : max(b, a + 1)]
    stood = float(way.standing[a:b].sum()) * way.step_s
    moving_s = span.end_s - span.start_s - stood
    sprayed = np.clip(on_off, *ends)
    on_s = float((sprayed[:, 1] - sprayed[:, 0]).sum())
    steps = np.interp(sprayed, way.time_s, way.along_m)
    mean = np.angle(np.mean(np.exp(1j * heading)))
    steady = np.ptp(heading) <= np.radians(LAP_TURN_DEG)
    return Pass(
        n=number,
        kind=span.kind,
        start_s=span.start_s,
        end_s=span.end_s,
        length_m=length,
        heading_deg=float(np.degrees(mean) % 360) if steady else None,
        mean_speed_m_s=length / moving_s if moving_s > 0 and span.kind not in (STANDING, GAP) else None,
        line=line,
        time_s=span.end_s - span.start_s - sum(one.end_s - one.start_s for one in within),
        block=span.block,
        lap=span.lap,
        on_s=on_s,
        on_m=float((steps[:, 1] - steps[:, 0]).sum()),
    )


def _lines(diary: Diary, fixed: Fixed) -> np.ndarray:
    """Line of the boom's centre in each span, shape (n,)."""
    stride = max(int(LINE_STEP_M / max(diary.way.speed_m_s * float(np.median(np.diff(fixed.time_s))), 1e-6)), 1)
    ends = np.array([[span.start_s, span.end_s] for span in diary.spans])
    times = np.union1d(fixed.time_s[::stride], ends)
    xy = np.column_stack([np.interp(times, fixed.time_s, column) for column in (fixed.x_m, fixed.y_m)])
    bounds = np.searchsorted(times, ends)
    whole = [shapely.LineString(xy[a : b + 1]) for a, b in bounds.tolist()]
    close = [PASS_LINE_M if span.kind in (HEADLAND, STRAIGHT) else DRAWN_PATH_M for span in diary.spans]
    return np.asarray(shapely.simplify(whole, close))


def _in_order(entries: Sequence[Pass], diary: Diary) -> tuple[Pass, ...]:
    """Entries by time, with what lies within passes and laps among them."""
    stops = []
    for k, span in enumerate(diary.within):
        where = np.searchsorted(diary.way.time_s, span.start_s)
        place = shapely.Point(diary.way.x_m[where], diary.way.y_m[where])
        number, lasting = len(entries) + 1 + k, span.end_s - span.start_s
        stops.append(Pass(number, span.kind, span.start_s, span.end_s, 0.0, None, None, place, lasting))
    return tuple(sorted((*entries, *stops), key=lambda one: (one.start_s, one.n)))


# --- what is added to straight passes ---------------------------------------------------------------


def _add_switching(entries: list[Pass], fixed: Fixed, on_off: FloatArray, ground: Ground, width_m: float) -> None:
    laps = [one.line for one in entries if one.kind == HEADLAND]
    inner = inside_headland(ground.alone, laps, width_m)
    shapely.prepare(inner)
    for k, one in enumerate(entries):
        if one.deviation is None:
            continue
        reference = one.deviation.reference
        over = boom_over(reference, inner, width_m)
        # the line reaches beyond the pass: ground behind a pond, say, that it was not there for
        ends = [place_at(fixed, reference, moment) for moment in (one.start_s, one.end_s)]
        over = over[(over[:, 0] < ends[1]) & (over[:, 1] > ends[0])]
        if not len(over):
            continue
        on, off = switched(fixed, on_off, one.start_s, one.end_s)
        entries[k] = replace(
            one,
            on_late_m=None if on is None else place_at(fixed, reference, on) - float(over[0, 0]),
            off_early_m=None if off is None else float(over[-1, 1]) - place_at(fixed, reference, off),
        )


def _add_neighbours(
    entries: list[Pass], driven: Sequence[Driven], pairs: Sequence[Neighbours], found: Sequence[Spacing]
) -> None:
    for pair in pairs:
        left, right = driven[pair.left].number, driven[pair.right].number
        entries[left] = replace(entries[left], right=entries[right].n)
        entries[right] = replace(entries[right], left=entries[left].n)
    for one in found:
        entries[one.number] = replace(
            entries[one.number],
            spacing_mean_m=float(one.distance_m.mean()),
            spacing_sd_m=float(np.sqrt(max(one.distance_m.var() - one.scatter_m**2, 0.0))),
        )


def _add_ground(
    entries: list[Pass], driven: Sequence[Driven], pairs: Sequence[Neighbours], audit: Audit, width_m: float
) -> None:
    """Missed, double and outside ground of each pass; what is left goes to the headland."""
    layers = audit.layers
    double = shapely.GeometryCollection([one for two in layers.by_visits[2:] for one in shapely.get_parts(two)])
    grounds = (layers.by_visits[0], double, layers.outside)
    cells = pass_cells(driven, pairs, width_m)
    whole = np.array([float(ground.area) for ground in grounds])
    own = np.array([area_in(cells, ground) for ground in grounds])
    # the ground of passes that cross is nearest to each of them: they share it
    own *= np.minimum(1.0, whole / np.maximum(own.sum(axis=1), 1e-9))[:, None]
    for one, (missed, twice, outside) in zip(driven, own.T.tolist(), strict=True):
        entry = replace(entries[one.number], missed_m2=missed, double_m2=twice, outside_m2=outside)
        entries[one.number] = entry
    _add_laps(entries, grounds, np.maximum(whole - own.sum(axis=1), 0.0), width_m)


def _add_laps(entries: list[Pass], grounds: Sequence[BaseGeometry], rest_m2: FloatArray, width_m: float) -> None:
    """Share the *rest* of each ground out among pieces of the headland laps, by what lies beside them."""
    laps = [k for k, one in enumerate(entries) if one.kind == HEADLAND and one.line.length > 0]
    pieces = [(k, piece) for k in laps for piece in lap_pieces(entries[k].line)]
    if not pieces:
        return
    length = np.array([piece.length for _, piece in pieces])
    cells = shapely.buffer([piece for _, piece in pieces], LAP_CELL_WIDTHS * width_m, cap_style="flat")
    beside = np.array([area_in(cells, ground) for ground in grounds])
    # where nothing lies beside any lap, the rest (rounding, far ground) goes by length
    beside = np.where(beside.sum(axis=1)[:, None] > 0, beside, length)
    shares = rest_m2[:, None] * beside / beside.sum(axis=1)[:, None]
    for k in laps:
        rows = [row for row, (owner, _) in enumerate(pieces) if owner == k]
        one, step = entries[k], (entries[k].end_s - entries[k].start_s) / len(rows)
        own = tuple(
            LapPiece(one.start_s + place * step, float(length[row]), *shares[:, row].tolist())
            for place, row in enumerate(rows)
        )
        missed, twice, outside = shares[:, rows].sum(axis=1).tolist()
        entries[k] = replace(one, missed_m2=missed, double_m2=twice, outside_m2=outside, pieces=own)
