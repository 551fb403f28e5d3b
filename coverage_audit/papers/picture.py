"""The answer as one picture, and as a page of paper: what one sends by message, or files."""

from __future__ import annotations

import io
import unicodedata
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw, ImageFont
from PIL.PngImagePlugin import PngInfo

from coverage_audit.papers.maps.painted import INK, PAPER, SOFT, hatched, painted_map
from coverage_audit.papers.maps.still import scale_length_m, scale_words

from .page import sprayed_from_to
from .picture_page import PageText, picture_page
from .words.answer import answer_figures, figure_line, first_line, notices, told_datetime
from .words.display import SPACE

if TYPE_CHECKING:
    from coverage_audit.papers.words.answer import Told
    from coverage_audit.recipe.result import Audit

WIDTH_PX, MARGIN_PX, MAP_HIGH_PX = 1200, 40, 760
"""Width of the picture, its margin, and the most that the map takes of its height. [px]"""

LABELS = 12
"""Strips named in the picture, of those worth a walk. [1]"""

PAPER_MM = {"us": (215.9, 279.4), "metric": (210.0, 297.0)}
"""Paper by the person's units: width and height of letter and A4 (ANSI/ASME Y14.1, ISO 216). [mm]"""

PAPER_MARGIN_MM = 10.0
"""What printers leave white is narrower (common practice, no source). [mm]"""


def report_png(audit: Audit) -> bytes:
    """PNG of 1200 px: title, first line, notices, map, the three figures; its description says the first line."""
    found = audit.answer
    chart, pixels = painted_map(audit, WIDTH_PX - 2 * MARGIN_PX, MAP_HIGH_PX)
    image = Image.new("RGB", (WIDTH_PX, chart.height + 900), PAPER)
    draw = ImageDraw.Draw(image)
    settings = audit.job.settings
    when = told_datetime(sprayed_from_to(audit)[0], settings)
    y = _text(draw, MARGIN_PX, f"{settings.name or 'Spray job'}, {when}", 26, SOFT)
    y = _text(draw, y + 6, first_line(found, audit), 44, INK)
    for line in notices(audit):
        y = _text(draw, y + 4, line, 26, INK)
    y += 16
    image.paste(chart, (MARGIN_PX, y))
    for strip in found.walk[:LABELS]:
        at = pixels(np.array([[strip.label_point.x, strip.label_point.y]])).tolist()[0]
        draw.text((MARGIN_PX + at[0], y + at[1]), strip.id, INK, _font(24), "mm", stroke_width=4, stroke_fill=PAPER)
    y += chart.height + 20
    y = max(_figure(image, told, rank, y) for rank, told in enumerate(answer_figures(found, audit)))
    _scale(draw, y + 22, float(np.ptp(pixels(np.array([[0.0, 0.0], [1.0, 0.0]]))[:, 0])), settings.report.units)
    y = _text(draw, y + 12, "Best value, and the range that holds the truth 9 times in 10. North is up.", 22, SOFT)
    image = image.crop((0, 0, WIDTH_PX, y + MARGIN_PX // 2))
    out = io.BytesIO()
    words = PngInfo()
    words.add_itxt("Description", alternative(audit))
    image.quantize(64, Image.Quantize.FASTOCTREE).save(out, "PNG", pnginfo=words)
    return out.getvalue()


def report_pdf(audit: Audit, picture: bytes) -> bytes:
    """One page with the *picture* of the answer, of the person's paper."""
    settings = audit.job.settings
    text = PageText(plain(settings.name or "Spray job"), plain(alternative(audit)), audit.end_s)
    return picture_page(picture, PAPER_MM[settings.report.units], PAPER_MARGIN_MM, text)


def alternative(audit: Audit) -> str:
    """What the picture says, for who cannot see it: first line, notices, the three figures."""
    found = audit.answer
    lines = [
        first_line(found, audit),
        *notices(audit),
        *(f"{figure_line(one)}." for one in answer_figures(found, audit)),
    ]
    return " ".join(lines).replace(SPACE, " ")


def plain(text: str) -> str:
    """*text* in the letters that the picture's font has: accents are left off, others become a question mark."""
    bare = unicodedata.normalize("NFKD", text.replace(SPACE, " ").replace("²", "\ue000"))
    kept = "".join(letter for letter in bare if not unicodedata.combining(letter))
    return "".join("²" if letter == "\ue000" else letter if letter.isascii() else "?" for letter in kept)


def _font(size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.load_default(size)  # type: ignore[return-value] # with FreeType, which every wheel has


def _figure(image: Image.Image, told: Told, rank: int, y: int) -> int:
    draw, x = ImageDraw.Draw(image), MARGIN_PX + rank * (WIDTH_PX - 2 * MARGIN_PX) // 3
    image.paste(hatched(told.kind, (36, 24)), (x, y + 4))
    draw.rectangle((x, y + 4, x + 36, y + 28), outline=INK)
    _line(draw, (x + 46, y), told.name, 28, INK)
    _line(draw, (x, y + 40), told.best, 44, INK)
    _line(draw, (x, y + 94), told.range, 28, INK)
    return y + 130


def _scale(draw: ImageDraw.ImageDraw, y: int, px_per_m: float, units: str) -> None:
    """A scale bar at the right margin, its words before it."""
    bar_m = scale_length_m(WIDTH_PX / px_per_m / 8, units)
    right = WIDTH_PX - MARGIN_PX
    left = right - bar_m * px_per_m
    draw.line([(left, y - 7), (left, y), (right, y), (right, y - 7)], INK, 3)
    draw.text((left - 12, y), plain(scale_words(bar_m, units)), INK, _font(22), "rm")


def _text(draw: ImageDraw.ImageDraw, y: int, text: str, size: int, colour: str) -> int:
    """Draw *text* in lines that fit the picture; the level below it. [px]"""
    lines, line = [], ""
    for word in text.split(" "):
        longer = f"{line} {word}".strip()
        if line and _width(longer, size) > WIDTH_PX - 2 * MARGIN_PX:
            lines.append(line)
            longer = word
        line = longer
    for each in [*lines, line]:
        _line(draw, (MARGIN_PX, y), each, size, colour)
        y += round(1.25 * size)
    return y


def _width(text: str, size: int) -> float:
    return _font(size).getlength(plain(text).replace("²", "2"))


def _line(draw: ImageDraw.ImageDraw, at: tuple[int, int], text: str, size: int, colour: str) -> None:
    """One line; the font has no raised two, so a small one is raised."""
    x, y = float(at[0]), at[1]
    for rank, part in enumerate(plain(text).split("²")):
        if rank:
            draw.text((x, y), "2", colour, _font(round(0.6 * size)))
            x += _font(round(0.6 * size)).getlength("2")
        draw.text((x, y), part, colour, _font(size))
        x += _font(size).getlength(part)
