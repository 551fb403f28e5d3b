"""Field outlines, one module a form: bytes in, valid polygons in degrees out.

A new form is a module that ends in an ``OutlineForm`` (see ``form``), and its name in ``registry.FORMS``.
"""
