"""Field outlines, one module a form: bytes in, valid polygons in degrees out."""
