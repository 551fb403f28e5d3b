"""The plain way to count coverage: slow, obvious, and no line of it shared with the package's.

Every quadrilateral between two boom lines is made valid; those of one group are united, a
group being one stretch cut wherever the heading has turned 100 degrees; groups of one stretch
that lie closer in travel than pi/2 boom widths are merged before counting; the outlines of all
groups are arranged, and the groups that hold a point of each face are counted.
"""

import math

import numpy as np
import shapely


def reference_count(stretches, target, width_m):
    """Covered, missed and double area of *target*. [m2]

    Parameters
    ----------
    stretches : list of (x, y, heading) arrays
        Boom centre [m] and heading [rad clockwise from north] of each stretch.
    target : polygon
    width_m : float
        Boom width. [m]
    """
    unions, owner, reach = [], [], []
    for number, (x, y, heading) in enumerate(stretches):
        travel = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
        quads = [shapely.make_valid(quad) for quad in _quads(x, y, heading, width_m / 2)]
        for first, last in _groups(heading):
            unions.append(shapely.union_all(quads[first:last]))
            owner.append(number)
            reach.append((travel[first], travel[last]))
    outlines = shapely.union_all([target.boundary, *(union.boundary for union in unions)])
    covered = missed = double = 0.0
    faces = shapely.get_parts(shapely.polygonize([outlines]))
    inside = shapely.point_on_surface(faces)
    for geometry in (target, *unions):
        shapely.prepare(geometry)
    held = [np.flatnonzero(shapely.contains(union, inside)) for union in unions]
    groups = [[] for _ in faces]
    for group, numbers in enumerate(held):
        for face in numbers:
            groups[face].append(group)
    in_target = shapely.contains(target, inside)
    for face, inner, found in zip(faces, in_target, groups, strict=True):
        if inner:
            visits = _visits(found, owner, reach, math.pi / 2 * width_m)
            covered += face.area * (visits > 0)
            missed += face.area * (visits == 0)
            double += face.area * (visits > 1)
    return covered, missed, double


def _quads(x, y, heading, half_m):
    sides = half_m * np.column_stack([np.cos(heading), -np.sin(heading)])
    centre = np.column_stack([x, y])
    left, right = centre - sides, centre + sides
    return [shapely.Polygon([left[k], left[k + 1], right[k + 1], right[k]]) for k in range(len(x) - 1)]


def _groups(heading):
    first = 0
    for k in range(1, len(heading)):
        if abs(heading[k] - heading[first]) > math.radians(100) or k == len(heading) - 1:
            yield first, k
            first = k


def _visits(groups, owner, reach, near_m):
    count = 0
    for place, group in enumerate(groups):
        before = groups[place - 1] if place else None
        if before is None or owner[before] != owner[group] or reach[group][0] - reach[before][1] > near_m:
            count += 1
    return count
