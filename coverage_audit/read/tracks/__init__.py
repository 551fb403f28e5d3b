"""Track logs, one module a form: how to recognise its bytes, what it can know, and how to read it.

A new form is a module that ends in a ``TrackForm`` (see ``form``), and its name in ``registry.FORMS``.
"""
