"""The plain way to count coverage: slow, obvious, and no line of it shared with the package's.

Every quadrilateral between two boom lines is made valid; those of one group are united, a
group being one stretch cut wherever the heading has turned 100 degrees; groups of one stretch
that lie closer in travel than pi/2 boom widths are merged before counting; the outlines of all
groups are arranged, and the groups are counted at a point of every face.
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
        half = width_m / 2 * np.column_stack([np.cos(heading), -np.sin(heading)])
        centre = np.column_stack([x, y])
        left, right = centre - half, centre + half
        quads = shapely.make_valid(shapely.polygons(np.stack([left[:-1], left[1:], right[1:], right[:-1]], axis=1)))
        for first, last in _groups(heading):
            unions.append(shapely.union_all(quads[first:last]))
            owner.append(number)
            reach.append((travel[first], travel[last]))
    polygons = np.array(unions, dtype=object)
    outlines = shapely.union_all(shapely.boundary(np.append(polygons, [target])))
    faces = shapely.get_parts(shapely.polygonize([outlines]))
    inside = shapely.point_on_surface(faces)
    shapely.prepare(target)
    kept = shapely.intersects(target, inside)
    faces, inside = faces[kept], inside[kept]
    face, group = shapely.STRtree(polygons).query(inside, predicate="intersects")
    visits = np.zeros(len(faces), int)
    for k in range(len(faces)):
        visits[k] = _visits(sorted(group[face == k].tolist()), owner, reach, math.pi / 2 * width_m)
    area = shapely.area(faces)
    return area[visits > 0].sum(), area[visits == 0].sum(), area[visits > 1].sum()


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
