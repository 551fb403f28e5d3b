"""Track logs, one module a form: how to recognise its bytes, what it can know, and how to read it."""
