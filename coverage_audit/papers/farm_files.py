"""Files of a farm folder as text: the farm's own, and one field each."""

from __future__ import annotations

import json
import re
import unicodedata
from typing import TYPE_CHECKING, Any

import shapely

from coverage_audit.read.records import NamedArea

from .words.safe import json_text, one_line

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

FARM_FILE = "farm.toml"
NO_SPRAY = "no-spray"
"""A feature whose property ``kind`` says this is ground that is not to be sprayed."""

FOLDERS = ("fields", "logs", "jobs", "seasons")

LONGEST_FILE_NAME = 60
"""Characters of a name of ours without its ending and number: the whole path stays below the 260 of Windows. [1]"""

_DEVICE = re.compile(r"con|prn|aux|nul|(?:com|lpt)[0-9]")
"""Names that Windows keeps for devices, whatever their ending."""

_FARM = """\
# What holds for every job of this farm. Take away the # in front of a line to use it.
# Every key: coverage-audit manual, chapter "The farm and its days".

[farm]
name = {name}
# timezone = "America/Boise"      # of the dates and times on paper
# units = "us"                    # or "metric"
# season_starts = "01-01"         # month and day

# One table for each machine; its name is yours. All keys of [boom] and [accuracy] of a job file may stand here.
# [machine.quad]
# boom.width = "30 ft"
# boom.antenna_ahead = "4 ft"     # from the boom line forward to the antenna
# accuracy.steering = "hand"      # or "guided", "guided-other"
# rate.tank = "50 gal"

# One table for each product; all keys of a [[product]] may stand here. Copy them from the label you hold.
# [product.larkmoor]
# name = "Larkmoor 200 SL"
# reg_no = "0000-11"
# phi = "14 days"
# max_per_season = "2.4 L/ha"
"""


def toml_text(text: str) -> str:
    """*text* as a basic string of TOML, on one line; what cannot be seen is left out."""
    # JSON's strings are TOML's, but for the surrogates that one_line takes out
    return json.dumps(one_line(text, most=1000), ensure_ascii=False)


def farm_toml(name: str) -> str:
    """A farm file with examples that count for nothing until they are uncommented."""
    return _FARM.format(name=toml_text(name))


def file_name(name: str, taken: Collection[str], ending: str = "") -> str:
    """*name* of a field or job as a name of a file or folder that every system takes, unlike those *taken*."""
    plain = unicodedata.normalize("NFKD", name.casefold())
    bare = (letter for letter in plain if not unicodedata.combining(letter))
    kept = "".join(letter if letter.isascii() and letter.isalnum() else " " for letter in bare)
    word = "-".join(kept.split())[:LONGEST_FILE_NAME].strip("-") or "field"
    if _DEVICE.fullmatch(word):
        word = f"field-{word}"
    number, found = 1, f"{word}{ending}"
    while found in taken:
        number += 1
        found = f"{word}-{number}{ending}"
    return found


def field_geojson(name: str, geometry: BaseGeometry, no_spray: Sequence[NamedArea], *, derived: bool = False) -> str:
    """One field as GeoJSON (RFC 7946): its outline with holes, and its no-spray areas.

    Parameters
    ----------
    geometry : polygon or multipolygon
        x = longitude, WGS 84. [deg]
    derived : bool
        Whether the outline was made from a drive over the field.
    """
    return outline_geojson([NamedArea(name, geometry)], no_spray, derived=derived)


def outline_geojson(areas: Sequence[NamedArea], no_spray: Sequence[NamedArea] = (), *, derived: bool = False) -> str:
    """Outlines of one file as GeoJSON, and their no-spray areas, as :func:`field_geojson` has one."""
    made = {"outline": "derived"} if derived else {}
    features = [_feature({"name": one.name, **made}, one.geometry) for one in areas]
    features += [_feature({"name": one.name, "kind": NO_SPRAY}, one.geometry) for one in no_spray]
    return json_text({"type": "FeatureCollection", "features": features}, indent=1)


def with_no_spray(text: str, area: NamedArea) -> str:
    """Text of a GeoJSON file of a field with one more no-spray area; all else in it stays."""
    found = json.loads(text)
    found["features"].append(_feature({"name": area.name, "kind": NO_SPRAY}, area.geometry))
    return json_text(found, indent=1)


def without_no_spray(text: str, number: int) -> str:
    """Text of such a file without its no-spray area *number*, counted from 0 as they stand in it."""
    found = json.loads(text)
    marked = [one for one in found["features"] if _is_no_spray(one)]
    found["features"] = [one for one in found["features"] if one is not marked[number]]
    return json_text(found, indent=1)


def _is_no_spray(feature: Mapping[str, Any]) -> bool:
    told = {str(key).casefold(): value for key, value in (feature.get("properties") or {}).items()}
    return str(told.get("kind", "")).strip().casefold() == NO_SPRAY


def _feature(properties: dict[str, str], geometry: BaseGeometry) -> dict[str, Any]:
    turned = shapely.orient_polygons(geometry)  # RFC 7946: outer rings run against the clock
    return {"type": "Feature", "properties": properties, "geometry": json.loads(shapely.to_geojson(turned))}
