"""A picture of the field that a person has, with where its corners lie: GeoTIFF, or a picture with a world file.

GeoTIFF: OGC 19-008r4 (tags 33550, 33922, 34264 and 34735). World file: six numbers a line each, as ESRI wrote it down;
the fifth and sixth are the middle of the upper left pixel.
"""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from PIL import Image

from coverage_audit.errors import InputError
from coverage_audit.read.outlines.crs import in_degrees, named_crs, written_crs

from .tolerances import MOST_PICTURE_PIXELS, PICTURE_SIDE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pyproj import CRS

SCALE, TIEPOINT, TRANSFORMATION, GEO_KEYS = 33550, 33922, 34264, 34735
GEOGRAPHIC, PROJECTED, RASTER_TYPE = 2048, 3072, 1025
POINT_RASTER, OWN_SYSTEM = 2, 32767
PICTURES = (".tif", ".tiff", ".png", ".jpg", ".jpeg")
WORLDS = (".tfw", ".tifw", ".pgw", ".pngw", ".jgw", ".jpgw", ".wld")
NO_PLACE = (
    "it does not say where it lies; take a GeoTIFF, or choose its world file (.tfw, .pgw, .jgw) and .prj along with it"
)


@dataclass(frozen=True)
class Picture:
    """A JPEG of at most ``PICTURE_SIDE`` pixels a side, and the places of its corners.

    ``corners_deg``: (longitude, latitude) of its upper left, upper right, lower right and lower left corner.
    """

    data: bytes
    corners_deg: tuple[tuple[float, float], ...]


def is_picture(name: str) -> bool:
    """Whether a file of this *name* may be a picture, or belong to one."""
    return PurePosixPath(name.lower()).suffix in (*PICTURES, *WORLDS)


def picture_of(files: Mapping[str, bytes]) -> Picture:
    """Read the picture among *files* held in memory.

    Raises
    ------
    InputError
        There is none, it is damaged or too large, or nothing says where it lies.
    """
    named = [name for name in files if PurePosixPath(name.lower()).suffix in PICTURES]
    if len(named) != 1:
        raise InputError("choose one picture, with its world file and .prj if it has them", "picture")
    name = named[0]
    image = _opened(files[name], name)
    grid, crs = _grid(image, files, name)
    width, height = image.size
    places = [grid @ [x, y, 1.0] for x, y in ((0, 0), (width, 0), (width, height), (0, height))]
    turned = in_degrees([shapely.Point(place) for place in places], crs, name, [])
    corners = tuple((one.x, one.y) for one in turned if isinstance(one, shapely.Point))
    return Picture(_as_jpeg(image, name), corners)


def _opened(data: bytes, name: str) -> Image.Image:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of its size, which is looked at here
            image = Image.open(io.BytesIO(data), formats=("TIFF", "PNG", "JPEG"))
    except Image.DecompressionBombError as error:
        raise _too_large(name) from error
    except (OSError, ValueError, SyntaxError) as error:
        raise InputError("this is no picture that can be read; save it as GeoTIFF, PNG or JPEG", name) from error
    if image.width * image.height > MOST_PICTURE_PIXELS:
        raise _too_large(name)
    return image


def _too_large(name: str) -> InputError:
    most = f"{MOST_PICTURE_PIXELS / 1e6:.0f} million"
    return InputError(f"it has more than {most} pixels; save it smaller, or cut it to the field", name)


def _as_jpeg(image: Image.Image, name: str) -> bytes:
    try:
        if image.mode in ("I", "I;16", "F"):
            values = np.asarray(image, float)
            low, high = np.nanpercentile(values, (2, 98)).tolist()
            values = np.nan_to_num((values - low) / max(high - low, 1e-9))
            shown = Image.fromarray((np.clip(values, 0, 1) * 255).astype(np.uint8))
        else:
            shown = image.convert("RGB")
        shown.thumbnail((PICTURE_SIDE, PICTURE_SIDE))
        packed = io.BytesIO()
        shown.save(packed, "JPEG", quality=80)
    except (OSError, ValueError, SyntaxError, MemoryError) as error:
        raise InputError(
            "this picture is damaged or of a kind that cannot be read; save it as GeoTIFF", name
        ) from error
    return packed.getvalue()


# --- where it lies ----------------------------------------------------------------------------------


def _grid(image: Image.Image, files: Mapping[str, bytes], name: str) -> tuple[np.ndarray, CRS | None]:
    """Matrix (2, 3) from column, row (0, 0 at the upper left corner) and 1 to coordinates, and their system."""
    stem = PurePosixPath(name).stem.casefold()
    beside = {
        PurePosixPath(one.lower()).suffix: data
        for one, data in files.items()
        if PurePosixPath(one).stem.casefold() == stem
    }
    world = next((beside[ending] for ending in WORLDS if ending in beside), None)
    if world is not None:
        text = beside.get(".prj", b"").decode("utf-8", "replace")
        return _world(world, name), written_crs(text, name)
    tags: Mapping[int, Any] = getattr(image, "tag_v2", {})
    grid, keys = _tagged(tags, name), _geo_keys(tags.get(GEO_KEYS, ()))
    if grid is None:
        raise InputError(NO_PLACE, name)
    if keys.get(RASTER_TYPE) == POINT_RASTER:  # it tells the places of middles, not of corners
        grid = _moved_half(grid)
    code = keys.get(PROJECTED, keys.get(GEOGRAPHIC, OWN_SYSTEM))
    if code == OWN_SYSTEM:
        raise InputError("it uses a coordinate system of its own; save it in UTM or in degrees (EPSG:4326)", name)
    return grid, named_crs(f"EPSG:{code}", name)


def _tagged(tags: Mapping[int, Any], name: str) -> np.ndarray | None:
    try:
        if TRANSFORMATION in tags:
            whole = np.array(tags[TRANSFORMATION], float).reshape(4, 4)
            return whole[:2, [0, 1, 3]]
        if SCALE in tags and TIEPOINT in tags:
            across, down = (float(one) for one in tags[SCALE][:2])
            column, row, _, x, y = (float(one) for one in tags[TIEPOINT][:5])
            return np.array([[across, 0.0, x - column * across], [0.0, -down, y + row * down]])
    except (TypeError, ValueError) as error:
        raise InputError("what it says of its place is damaged; save it anew as GeoTIFF", name) from error
    return None


def _geo_keys(words: Any) -> dict[int, int]:  # noqa: ANN401 - a tag of any kind
    """Keys whose value stands in the directory itself: rows of key, 0, 1 and value behind the first four words."""
    numbers = np.array(words if isinstance(words, tuple) else (), int)
    rows: Any = numbers[4 : 4 + (len(numbers) - 4) // 4 * 4].reshape(-1, 4) if len(numbers) > 7 else []
    return {int(key): int(value) for key, place, _, value in rows if place == 0}


def _world(data: bytes, name: str) -> np.ndarray:
    try:
        a, d, b, e, c, f = (float(one) for one in data[:2000].decode("ascii").split()[:6])
    except ValueError as error:
        raise InputError("its world file has not six numbers; take the one that came with the picture", name) from error
    return _moved_half(np.array([[a, b, c], [d, e, f]]))


def _moved_half(grid: np.ndarray) -> np.ndarray:
    """From the middle of the first pixel to its corner."""
    return np.column_stack([grid[:, :2], grid @ [-0.5, -0.5, 1.0]])
