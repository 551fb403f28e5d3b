"""Our own page templates and styles, and the one way they are filled."""

from __future__ import annotations

from functools import cache
from importlib import resources

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from coverage_audit.papers.words.safe import printable


@cache
def page_templates() -> Environment:
    """Templates whose values are escaped, and for which a missing value is an error."""
    return Environment(
        loader=PackageLoader("coverage_audit.papers"),
        autoescape=select_autoescape(("html",)),
        undefined=StrictUndefined,
        finalize=_harmless,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,  # installed files do not change while they are read
    )


def filled(name: str, **values: object) -> Markup:
    """Our template *name* with *values*, those escaped that are not our own markup."""
    return Markup(page_templates().get_template(name).render(**values))  # noqa: S704 - escaped by its template


def filled_text(template: str, **values: object) -> Markup:
    """*template*, a text of our own, filled in the same way."""
    return Markup(page_templates().from_string(template).render(**values))  # noqa: S704 - escaped by its template


def _harmless(value: object) -> object:
    """Replace what would turn the direction of reading, or cannot be seen, in text that is not our own markup."""
    if isinstance(value, str) and not isinstance(value, Markup):
        return "\n".join(printable(line) for line in value.split("\n"))
    return value


@cache
def page_text(*names: str) -> str:
    """Style sheets and scripts of these names, one after the other."""
    folder = resources.files("coverage_audit.papers") / "templates"
    return "".join((folder / name).read_text(encoding="utf-8") for name in names)
