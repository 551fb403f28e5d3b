"""A picture as one page of PDF: the PNG's own rows, laid into a file of nine objects.

Structure as ISO 32000-1 has it: objects (7.3), file (7.5), an image of indexed colours whose rows are filtered as PNG's
(7.4.4.4, 8.9.5), marked as a figure with words for who cannot see it (14.7, 14.9.3). A general library for PDF takes a
third of a second to import and compresses the picture once more; the tests read the file with two others.
"""

from __future__ import annotations

import datetime as dt
import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_INDEXED = 3
_HEAD = b"%PDF-1.4\n%\xe9\xeb\xf1\xbf\n"
POINTS_PER_MM = 72 / 25.4


@dataclass(frozen=True)
class PageText:
    """What a file says of itself: its title, what its picture shows, and when it was made [s since 1970 UTC]."""

    title: str
    alternative: str
    made_s: float


def picture_page(png: bytes, paper_mm: tuple[float, float], margin_mm: float, text: PageText) -> bytes:
    """One page of *paper_mm* (width, height) with the picture at its top, as large as *margin_mm* on each side lets it.

    The same picture and text give the same bytes.

    Parameters
    ----------
    png : bytes
        PNG of indexed colours, not interlaced.

    Raises
    ------
    ValueError
        It is another kind of PNG.
    """
    chunks = list(_chunks(png))
    wide_px, high_px, bits, colours, *_, interlaced = struct.unpack(">IIBBBBB", chunks[0][1])
    if colours != _INDEXED or interlaced:
        raise ValueError("the picture is not of indexed colours, row by row")
    palette = next(data for kind, data in chunks if kind == b"PLTE")
    rows = b"".join(data for kind, data in chunks if kind == b"IDAT")
    wide, high = (side * POINTS_PER_MM for side in paper_mm)
    margin = margin_mm * POINTS_PER_MM
    scale = min((wide - 2 * margin) / wide_px, (high - 2 * margin) / high_px)
    size = (wide_px * scale, high_px * scale)
    place = f"{size[0]:.2f} 0 0 {size[1]:.2f} {(wide - size[0]) / 2:.2f} {high - margin - size[1]:.2f} cm"
    filtered = f"/Predictor 15 /Colors 1 /BitsPerComponent {bits} /Columns {wide_px}"
    image = (
        f"/Type /XObject /Subtype /Image /Width {wide_px} /Height {high_px} /BitsPerComponent {bits} "
        f"/ColorSpace [/Indexed /DeviceRGB {len(palette) // 3 - 1} <{palette.hex()}>] "
        f"/Filter /FlateDecode /DecodeParms <<{filtered}>>"
    )
    made = dt.datetime.fromtimestamp(round(text.made_s), dt.UTC)
    return _file(
        b"<</Type /Catalog /Pages 2 0 R /Lang (en) /MarkInfo <</Marked true>> /StructTreeRoot 6 0 R>>",
        b"<</Type /Pages /Count 1 /Kids [3 0 R]>>",
        f"<</Type /Page /Parent 2 0 R /MediaBox [0 0 {wide:.2f} {high:.2f}] /Contents 4 0 R "
        f"/Resources <</XObject <</I1 5 0 R>>>> /StructParents 0>>".encode(),
        _stream("", f"/Figure <</MCID 0>> BDC q {place} /I1 Do Q EMC".encode()),
        _stream(image, rows),
        b"<</Type /StructTreeRoot /K 7 0 R /ParentTree <</Nums [0 [8 0 R]]>>>>",
        b"<</Type /StructElem /S /Document /P 6 0 R /K [8 0 R]>>",
        f"<</Type /StructElem /S /Figure /P 7 0 R /Pg 3 0 R /K [0] /Alt {_words(text.alternative)}>>".encode(),
        f"<</Title {_words(text.title)} /CreationDate (D:{made:%Y%m%d%H%M%S}Z)>>".encode(),
    )


def _chunks(png: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Kind and content of each chunk of a PNG file (PNG specification, third edition, 5.3)."""
    at = len(_SIGNATURE)
    while at < len(png):
        length, kind = struct.unpack_from(">I4s", png, at)
        yield kind, png[at + 8 : at + 8 + length]
        at += 12 + length


def _words(text: str) -> str:
    """A text string, in letters of any language: UTF-16 with its mark, as hexadecimal digits."""
    return f"<feff{text.encode('utf-16-be').hex()}>"


def _stream(about: str, content: bytes) -> bytes:
    return f"<<{about} /Length {len(content)}>>\nstream\n".encode() + content + b"\nendstream"


def _file(*objects: bytes) -> bytes:
    """A file of *objects*, numbered from 1: the first is its catalog, the last what it says of itself."""
    out, places = bytearray(_HEAD), []
    for number, one in enumerate(objects, 1):
        places.append(len(out))
        out += f"{number} 0 obj\n".encode() + one + b"\nendobj\n"
    begin, count = len(out), len(objects) + 1
    table = "".join(f"{place:010d} 00000 n \n" for place in places)
    out += f"xref\n0 {count}\n0000000000 65535 f \n{table}".encode()
    out += f"trailer\n<</Size {count} /Root 1 0 R /Info {count - 1} 0 R>>\nstartxref\n{begin}\n%%EOF\n".encode()
    return bytes(out)
