"""Pictures of fields under the map: kept in the farm's folder with the places of their corners, found by place."""

from __future__ import annotations

import json
from contextlib import suppress
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.drive.plane import Plane
from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import write_all
from coverage_audit.papers.farm_files import file_name
from coverage_audit.papers.words.safe import json_text
from coverage_audit.sheet.picture import picture_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from coverage_audit.sheet.logs import DriveFacts

    from .desk import Desk

PICTURES = "pictures"


def keep_picture(desk: Desk, files: Mapping[str, bytes], drive: DriveFacts | None) -> None:
    """Keep the picture among *files* with the places of its corners.

    Raises
    ------
    InputError
        It cannot be read, nothing says where it lies, or it shows another place than the drive.
    """
    picture = picture_of(files)
    if drive is not None and not _is_of(picture.corners_deg, drive):
        raise InputError("this picture shows another place than the drive; look at its coordinates", "picture")
    with desk.alone:
        folder = desk.root / PICTURES
        taken = {path.stem.casefold() for path in folder.iterdir()} if folder.is_dir() else set()
        name = file_name(next(iter(files)).rpartition(".")[0], taken)
        places = json_text({"corners": [list(corner) for corner in picture.corners_deg]})
        write_all(folder, {f"{name}.jpg": picture.data, f"{name}.json": places})


def picture_under(desk: Desk, drive: DriveFacts | None) -> tuple[Path, list[list[float]]] | None:
    """The latest kept picture of the place of *drive*, and its upper left, upper right and lower left corner. [m]"""
    if drive is None:
        return None
    for path in _kept(desk):
        with suppress(OSError, ValueError, KeyError, TypeError):
            corners = [(float(lon), float(lat)) for lon, lat in json.loads(path.read_bytes())["corners"]]
            picture = path.with_suffix(".jpg")
            if picture.is_file() and len(corners) == 4 and _is_of(tuple(corners), drive):
                x, y = Plane(drive.origin).to_metres(*np.array(corners).T)
                return picture, [[round(float(x[k]), 2), round(float(y[k]), 2)] for k in (0, 1, 3)]
    return None


def _kept(desk: Desk) -> list[Path]:
    with suppress(OSError):
        return sorted((desk.root / PICTURES).glob("*.json"), key=lambda path: -path.stat().st_mtime)
    return []


def _is_of(corners_deg: tuple[tuple[float, float], ...], drive: DriveFacts) -> bool:
    """Whether a picture shows any of the ground about a drive."""
    x, y = Plane(drive.origin).to_metres(*np.array(corners_deg).T)
    west, south, east, north = drive.extent_m
    return bool(x.min() < east and x.max() > west and y.min() < north and y.max() > south)
