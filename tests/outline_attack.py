"""An attack on what a proof shows of a field's shape: which of many like fields is it?

Written without regard to how a shape is drawn: whoever holds a drawing and a list of fields of like area (from a
parcel map, say) tries every match known to him and looks how high the true field comes out. Drawings and fields are
matched after the best turn, shift, scale and reflection. No drawing at all leaves every field alike.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import affinity

POINTS = 64
TURNS = 48
CELLS = 40
"""Grid of the pictures that are laid over one another, for shapes of area 1 in a square of side ``ROOM``."""
ROOM = 3.2


# --- like fields ----------------------------------------------------------------------------------------


def like_fields(rng, count):
    """*count* fields of area 1 such as a parcel map has: straight, cut, wedged, bent, irregular; turned at random."""
    kinds = [_rectangle, _wedge, _cut, _bent, _irregular, _stream]
    found = []
    while len(found) < count:
        shape = kinds[len(found) % len(kinds)](rng)
        if shape.is_valid and shape.geom_type == "Polygon":
            found.append(_unit(affinity.rotate(shape, rng.uniform(0, 360), (0, 0))))
    return found


def _rectangle(rng):
    """Nearly right-angled: surveyed corners a few per cent out."""
    long = rng.uniform(1, 3.5)
    return shapely.Polygon(np.array([[0, 0], [long, 0], [long, 1], [0, 1]]) + rng.normal(0, 0.04, (4, 2)))


def _wedge(rng):
    long, end, shift = rng.uniform(1, 3), rng.uniform(0.15, 0.9), rng.uniform(-0.3, 0.5)
    return shapely.Polygon([(0, 0), (long, rng.uniform(-0.3, 0.3)), (long, end), (shift, 1)])


def _cut(rng):
    """A corner or two cut off by a road or a ditch."""
    shape = _rectangle(rng)
    for corner in rng.choice(4, rng.integers(1, 3), replace=False):
        x, y = shapely.get_coordinates(shape.envelope)[corner]
        a, b = rng.uniform(0.15, 0.7, 2)
        shape = shape.difference(shapely.Polygon([(x - a, y), (x, y - b), (x + a, y), (x, y + b)]))
    return shape


def _bent(rng):
    """L-shaped, or with a notch for a yard."""
    shape, wide, high = _rectangle(rng), rng.uniform(0.3, 0.8), rng.uniform(0.2, 0.7)
    at = rng.choice([0.0, rng.uniform(0, 1)])
    return shape.difference(shapely.box(at - 0.1, 1 - high, at + wide, 1.3))


def _irregular(rng):
    turn = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(5, 14)))
    ray = rng.uniform(0.6, 1.4, len(turn))
    return shapely.Polygon(np.column_stack([rng.uniform(1, 2) * ray * np.cos(turn), ray * np.sin(turn)]))


def _stream(rng):
    """Three straight sides and one along water."""
    long, x = rng.uniform(1.2, 3), np.linspace(0, 1, 30)
    edge = sum(rng.normal(0, 0.16 / k) * np.sin(2 * np.pi * k * x + rng.uniform(0, 6)) for k in (1, 2, 3))
    return shapely.Polygon([(long, 0), (0, 0), *np.column_stack([long * x, 1 + edge])])


def _unit(shape):
    """*shape* of area 1 about its centroid."""
    x, y = shape.centroid.coords[0]
    return shapely.transform(shape, lambda xy: (xy - (x, y)) / np.sqrt(shape.area))


# --- what is compared -----------------------------------------------------------------------------------


def _resampled(shape):
    """Points along the outline at even steps from its first corner, anticlockwise; shape (POINTS, 2)."""
    ring = shapely.orient_polygons(shape).exterior
    steps = (np.arange(POINTS) + 0.5) / POINTS
    return shapely.get_coordinates(shapely.line_interpolate_point(ring, steps, normalized=True))


def _turned(points):
    """*points* in every turn, and reflected in every turn; shape (2 * TURNS, ..., 2)."""
    turn = np.exp(2j * np.pi * np.arange(TURNS) / TURNS)
    z = points[..., 0] + 1j * points[..., 1]
    every = np.concatenate([np.multiply.outer(turn, z), np.multiply.outer(turn, z.conj())])
    return np.stack([every.real, every.imag], axis=-1)


def _cell(points):
    at = np.clip(((points / ROOM + 0.5) * CELLS).astype(np.int32), 0, CELLS - 1)
    return at[..., 1] * CELLS + at[..., 0]


_GRID = (np.stack(np.meshgrid(np.arange(CELLS), np.arange(CELLS)), axis=-1).reshape(-1, 2) + 0.5) / CELLS - 0.5
_GRID *= ROOM


class Signature:
    """All that the attack knows of one shape."""

    def __init__(self, shape):
        self.shape = shape = _unit(shape)
        self.points = _resampled(shape)
        self.mask = shapely.contains_xy(shape, _GRID).astype(np.float32)
        self.off = shapely.distance(shapely.points(_GRID), shape.exterior).astype(np.float32)
        z = self.points @ (1, 1j)
        way = np.angle(np.roll(z, -1) - z)
        self.turning = np.unwrap(way) - 2 * np.pi * np.arange(POINTS) / POINTS
        self.rays = self._rays()
        self.scalars = self._scalars()

    def _rays(self):
        """Farthest crossing of the outline on each ray from the centroid."""
        turn = 2 * np.pi * np.arange(POINTS) / POINTS
        far = 6 * np.column_stack([np.cos(turn), np.sin(turn)])
        lines = shapely.linestrings(np.stack([np.zeros_like(far), far], axis=1))
        within = shapely.intersection(lines, self.shape)
        return shapely.hausdorff_distance(shapely.points(np.zeros_like(far)), within)

    def _scalars(self):
        inner = self.shape
        sides = np.hypot(*np.diff(shapely.get_coordinates(inner.minimum_rotated_rectangle), axis=0).T)
        spread = np.cov(_GRID[self.mask > 0].T)
        least, most = np.linalg.eigvalsh(spread)
        third = np.abs(((_GRID[self.mask > 0] @ (1, 1j)) ** 3).mean())
        return {
            "aspect ratio": np.log(sides.max() / sides.min()),
            "convexity": inner.area / inner.convex_hull.area,
            "length of outline": inner.length,
            "second moments": np.log(most / least),
            "third moment": third,
            "largest circle": shapely.maximum_inscribed_circle(inner).length,
            "corners": len(shapely.get_coordinates(shapely.simplify(inner, 0.05))),
        }


def _best_shift(drawn, many):
    """Least squared difference of a periodic signature to each of *many*, over start, way round and constant."""
    centred = many - many.mean(axis=1, keepdims=True)
    best = np.full(len(many), np.inf)
    for own in (drawn, drawn[::-1], -drawn[::-1]):
        own = own - own.mean()  # noqa: PLW2901 - a turn adds a constant
        cross = np.fft.irfft(np.fft.rfft(own).conj() * np.fft.rfft(centred), n=POINTS).max(axis=1)
        best = np.minimum(best, (own**2).sum() + (centred**2).sum(axis=1) - 2 * cross)
    return best


class Pool:
    """The fields that it may be, and how far a drawing is from each of them by every match."""

    def __init__(self, fields):
        self.fields = [Signature(one) for one in fields]
        self.masks = np.stack([one.mask for one in self.fields])
        self.off = np.stack([one.off for one in self.fields])
        self.cells = _cell(_turned(np.stack([one.points for one in self.fields])))
        self.turning = np.stack([one.turning for one in self.fields])
        self.rays = np.stack([one.rays for one in self.fields])

    def distances(self, drawing):
        """Distance of each field from *drawing* by every match; without a drawing all are alike."""
        if drawing is None:
            return {name: np.zeros(len(self.fields)) for name in MATCHES}
        own = Signature(drawing)
        turned = _turned(own.points)
        there = self.off[:, _cell(turned)]
        # turning the fields is turning the drawing back; the reflected ones are their own way back
        back = own.off[self.cells].transpose(1, 0, 2)
        back[:, :TURNS] = back[:, -np.arange(TURNS) % TURNS]
        pictures = np.stack([shapely.contains_xy(shapely.Polygon(one), _GRID) for one in _turned_rings(own.shape)])
        both = self.masks @ pictures.T.astype(np.float32)
        either = self.masks.sum(axis=1)[:, None] + pictures.sum(axis=1) - both
        scalars = {
            name: np.abs(np.array([one.scalars[name] for one in self.fields]) - value)
            for name, value in own.scalars.items()
        }
        found = {
            "overlap": 1 - (both / either).max(axis=1),
            "mean distance": (there.mean(axis=2) + back.mean(axis=2)).min(axis=1),
            "greatest distance": np.maximum(there.max(axis=2), back.max(axis=2)).min(axis=1),
            "turning function": _best_shift(own.turning, self.turning),
            "ray lengths": _best_shift(own.rays, self.rays),
            **scalars,
        }
        found["all together"] = sum(_ranks(one) for one in found.values())
        return found


MATCHES = (
    *("overlap", "mean distance", "greatest distance", "turning function", "ray lengths", "aspect ratio"),
    *("convexity", "length of outline", "second moments", "third moment", "largest circle", "corners", "all together"),
)


def _turned_rings(shape):
    return _turned(shapely.get_coordinates(shape.exterior))


def _ranks(distances):
    """Rank of each, 1 is the nearest; those that are alike share the middle of their ranks."""
    order = np.sort(distances)
    return (np.searchsorted(order, distances, "left") + 1 + np.searchsorted(order, distances, "right")) / 2


def ranks(pool, drawings):
    """Rank of the true field by every match: *drawings* maps its number in *pool* to all drawings of it.

    Several drawings of one field are averaged: that is what one who buys often can do.

    Returns
    -------
    dict of str to array of float
        By match, one rank for each field drawn.
    """
    found = {name: [] for name in MATCHES}
    for number, shapes in drawings.items():
        every = [pool.distances(shape) for shape in shapes]
        for name in MATCHES:
            found[name].append(_ranks(sum(one[name] for one in every))[number])
    return {name: np.array(one) for name, one in found.items()}


# --- corners on rays: the match against corners that were moved along their rays -------------------------


def on_rays(drawn, corners):
    """How far *drawn* corners lie off the rays of *corners* (both (n, 2)), at the best turn, place and start.

    With R the turn and m the drawing's middle, R d_k - m is parallel to c_k: linear and homogeneous in R and m.
    """
    if len(drawn) != len(corners):
        return np.inf
    best = np.inf
    for own in (drawn, drawn[::-1] * (1, -1)):
        for start in range(len(own)):
            x, y = np.roll(own, start, axis=0).T
            unit = corners / np.hypot(*corners.T)[:, None]
            across = np.column_stack([x * unit[:, 1] - y * unit[:, 0], -y * unit[:, 1] - x * unit[:, 0]])
            middle = np.column_stack([unit[:, 1], -unit[:, 0]])
            rest = across - middle @ np.linalg.lstsq(middle, across, rcond=None)[0]
            best = min(best, np.linalg.svd(rest, compute_uv=False)[-1])
    return best
