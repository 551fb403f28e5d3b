"""The manual that ships with the package: its Markdown in, one page out that needs nothing but itself."""

from __future__ import annotations

import re
from dataclasses import dataclass
from importlib import resources
from itertools import pairwise
from typing import TYPE_CHECKING

from markdown_it import MarkdownIt
from markupsafe import Markup

from coverage_audit import __version__

from .templating import page_templates, page_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from markdown_it.token import Token

CHAPTERS = (
    "getting_started",
    "page",
    "questions",
    "log",
    "field",
    "machine",
    "boom",
    "rate",
    "report",
    "how_sure",
    "touchup",
    "proof",
    "record",
    "compare",
    "farm",
    "season",
    "job_file",
    "commands",
    "limits",
    "glossary",
)
"""Files of ``coverage_audit/manual`` in the order of the page."""

QUESTIONS = "questions"
"""The chapter whose sections answer the question marks of the page, one each."""

SHEET = "sheet"
"""The one page on how to log a job, which is printed by itself."""

_OTHER_CHAPTER = re.compile(r"([a-z_]+)\.md(?:#([a-z0-9-]+))?")


@dataclass(frozen=True)
class Chapter:
    """One chapter: the name of its file, its title, and its page text."""

    name: str
    title: str
    body: Markup


def chapter_text(name: str) -> str:
    """Markdown of the chapter *name*."""
    return (resources.files("coverage_audit") / "manual" / f"{name}.md").read_text(encoding="utf-8")


def manual_html() -> str:
    """Whole manual as one page; loads no address."""
    return _page([chapter(name) for name in CHAPTERS], "Manual", "manual.css")


def sheet_html() -> str:
    """One page to print: how to log a job so that the audit can tell."""
    return _page([chapter(SHEET)], "How to log a job", "sheet.css")


def _page(chapters: Sequence[Chapter], title: str, style: str) -> str:
    return (
        page_templates()
        .get_template("manual.html")
        .render(
            chapters=chapters,
            title=title,
            version=__version__,
            style=Markup(page_text("report.css", "manual.css", *([style] if style != "manual.css" else []))),  # noqa: S704 - our own
        )
    )


def section_html(place: str) -> str | None:
    """What stands under one heading of :data:`QUESTIONS`, by its place in the page; None without such a heading."""
    _, *sections = re.split(r'<h3 id="', chapter(QUESTIONS).body)
    found = dict(one.split('">', 1) for one in sections)
    return f"<h3>{found[place]}".replace('href="#', 'href="/manual#') if place in found else None


def chapter(name: str) -> Chapter:
    """One chapter as page text: headings one step lower, links to chapters turned to places in the page."""
    markdown = MarkdownIt("commonmark", {"html": True}).enable("table")  # the sources are the package's own
    tokens = markdown.parse(chapter_text(name))
    title = tokens[1].content
    _name_headings(tokens, name)
    _label_cells(tokens)
    for token in tokens:
        for child in token.children or ():
            if child.type == "link_open":
                child.attrSet("href", _place(str(child.attrGet("href"))))
    return Chapter(name, title, Markup(markdown.renderer.render(tokens, markdown.options, {})))  # noqa: S704 - our own


def _name_headings(tokens: Sequence[Token], name: str) -> None:
    """Give every heading its place in the page; the page's own title is the only one of the first step."""
    for token, after in pairwise(tokens):
        if token.type == "heading_open":
            own = re.sub(r"[^a-z0-9]+", "-", after.content.lower()).strip("-")
            token.attrSet("id", name if token.tag == "h1" else f"{name}-{own}")
    for token in tokens:
        if token.type in {"heading_open", "heading_close"}:
            token.tag = f"h{int(token.tag[1]) + 1}"


def _label_cells(tokens: Sequence[Token]) -> None:
    """Write its column's heading on every cell of a table, for narrow screens."""
    heads: list[str] = []
    column = 0
    for token, after in pairwise(tokens):
        if token.type == "thead_open":
            heads = []
        elif token.type == "th_open":
            heads.append(after.content.replace("`", ""))
        elif token.type == "tr_open":
            column = 0
        elif token.type == "td_open":
            token.attrSet("data-label", heads[column])
            column += 1


def _place(href: str) -> str:
    """Place in the page that a link between the sources means."""
    found = _OTHER_CHAPTER.fullmatch(href)
    if found is None:
        return href
    return f"#{found[1]}-{found[2]}" if found[2] else f"#{found[1]}"
