"""The live map of the report: folium's script, with the map library's own text from an installed package."""

from __future__ import annotations

import json
import re
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from coverage_audit.later import later

from .late_templates import templates_put_off
from .layers import MapLayer, map_bounds, map_layers

# folium takes frames, addresses and others' tiles too; half a second, and none is given to it
with later("pandas", "requests", "xyzservices", named=["TileProvider"]), templates_put_off():
    import folium

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.drive.plane import Plane
    from coverage_audit.recipe.result import Audit

SIMPLIFY_M = 0.02
"""Corners closer than this to the line without them are left out of the map. [m] Unseen at any
zoom that a person uses, and the page stays small; figures never come from these shapes."""

DEGREE_DECIMALS = 7
"""1e-7 degree is 1.1 cm or less on the ground: finer than what the simplifying leaves."""

MAX_ZOOM = 24
"""About 6 mm per pixel at mid latitudes: more than any receiver knows."""

MAP_ID = "map_live"
_STATIC_DIR = "static/js_lib_leaflet"


@cache
def library_script() -> str:
    """Leaflet's script as text that can stand inside a script element."""
    text = (resources.files("js_lib_leaflet") / _STATIC_DIR / "leaflet.js").read_text(encoding="utf-8")
    return inline_script(re.sub(r"(?m)^//# sourceMappingURL=.*$", "", text))


@cache
def library_style() -> str:
    """Leaflet's style sheet without the declarations that would load a picture."""
    text = (resources.files("js_lib_leaflet") / _STATIC_DIR / "leaflet.css").read_text(encoding="utf-8")
    return re.sub(r"[^;{}]*\burl\([^)]*\)[^;{}]*;?", "", text)


def inline_script(text: str) -> str:
    """*text* with nothing in it that could end, or open a comment in, a script element."""
    return re.sub(r"<(?=/script|!--|script)", r"\\x3c", text, flags=re.IGNORECASE)


def map_script(audit: Audit, plane: Plane) -> str:
    """Script that draws the map into the element with the id :data:`MAP_ID`; loads nothing.

    It leaves ``map_live``, ``control_layers``, ``map_opening`` (the bounds to open on) and ``map_order`` (the
    layers, top first) to the page's own script.
    """
    chart = folium.Map(
        location=np.array([audit.origin.lat_deg, audit.origin.lon_deg]),  # type: ignore[arg-type] # of a list it reads pandas
        tiles=None,
        zoom_start=16,
        max_zoom=MAX_ZOOM,
        zoom_snap=0.1,
        attribution_control=False,
        scroll_wheel_zoom=False,
        bounce_at_zoom_limits=False,
    )
    _name(chart, "map", "live")
    layers = map_layers(audit)
    for layer in layers:
        _name(_geojson_layer(layer, plane), "layer", layer.key).add_to(chart)
    _name(folium.LayerControl(collapsed=False), "control", "layers").add_to(chart)
    figure: Any = chart.get_root()
    figure.render()
    # Only folium's script is taken: its page head would load libraries that markers and pop-ups need.
    west, south, east, north = _degree_bounds(map_bounds(audit), plane)
    opening = f"const map_opening = [[{south}, {west}], [{north}, {east}]];"
    order = f"const map_order = [{', '.join(f'layer_{layer.key}' for layer in layers)}];"
    return inline_script(f"{opening}\n{figure.script.render()}\n{order}")


def _name(element: Any, name: str, suffix: str) -> Any:  # noqa: ANN401 - folium has no types
    """Give *element* a fixed name: folium draws random ones, and the same audit gives the same page."""
    element.get_name = lambda: f"{name}_{suffix}"
    return element


def _geojson_layer(layer: MapLayer, plane: Plane) -> folium.GeoJson:
    shapes = _geojson_geometries([piece.geometry for piece in layer.pieces], plane)
    features = [
        {
            "type": "Feature",
            "id": piece.id or f"{layer.key}-{rank}",
            "properties": {"kind": piece.kind, "finding": bool(piece.id)},
            "geometry": shape,
        }
        for rank, (piece, shape) in enumerate(zip(layer.pieces, shapes, strict=True))
    ]
    return folium.GeoJson(
        {"type": "FeatureCollection", "features": features},
        name=legend_label(layer),
        style_function=_style,
        show=layer.shown,
        smooth_factor=0.5,
    )


def legend_label(layer: MapLayer) -> str:
    """Swatch and words of *layer* as HTML; holds no text from any file."""
    line = layer.key in {"passes", "transport", "passline", "turns"}
    shape = '<path d="M2 11H34"/>' if line else '<rect x="1.5" y="1.5" width="33" height="19"/>'
    return (
        f'<svg class="swatch map-{layer.key}" width="36" height="22" aria-hidden="true">{shape}</svg>'
        f"<span>{layer.label}</span>"
    )


def _style(feature: dict[str, Any]) -> dict[str, Any]:
    properties = feature["properties"]
    return {"className": f"map-{properties['kind']}", "interactive": properties["finding"]}


def _geojson_geometries(geometries: list[BaseGeometry], plane: Plane) -> list[Any]:
    """GeoJSON objects of *geometries*, simplified; all at once, as there may be hundreds."""
    whole = np.array(geometries, dtype=object)
    simple = shapely.simplify(whole, SIMPLIFY_M, preserve_topology=False)
    # A sliver narrower than the tolerance would vanish; it is drawn as it is.
    drawn = np.where(shapely.is_empty(simple), whole, simple)
    degrees = shapely.transform(drawn, lambda xy: np.round(np.column_stack(plane.to_degrees(*xy.T)), DEGREE_DECIMALS))
    return [json.loads(text) for text in shapely.to_geojson(degrees)]


def _degree_bounds(bounds_m: tuple[float, float, float, float], plane: Plane) -> tuple[float, float, float, float]:
    west, south, east, north = plane.geometry_to_degrees(shapely.box(*bounds_m)).bounds
    return west, south, east, north
