"""The buyer's paper: one self-contained page and the same as a PDF, both made from the record alone."""

from __future__ import annotations

import datetime as dt
import json
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from .pages import page_templates
from .proof_sign import fingerprint, library, spoken

if TYPE_CHECKING:
    Record = dict[str, Any]

TITLE = "Proof of spray coverage"
NOT_SAID = (
    "This is not a certificate of weed-free forage, not a residue test and not an inspection.",
    "A signature shows that the record was not edited since it was signed, not that the logs were true before.",
    "The signer is the grower. Nothing here ties these bales to this field but the seller's word.",
    "No track shows a plugged nozzle, a boom too high or drift. Covered means the boom passed over with its switch on.",
)
HOW = (
    "The logged track of the sprayer, the times its boom was on and the field boundary were laid over one another; "
    "every spot was counted by how often the boom passed over it, by two methods that had to agree. Ground that rests "
    "on gaps in the log, or on a tank that may have run dry, is not counted as proven."
)
LABEL = {
    "hay_leaving_farm": "Label on hay leaving the farm",
    "feeding": "Label on feeding",
    "manure_compost": "Label on manure and compost",
}
FIGURES = {
    "target_m2": "Ground to be sprayed",
    "proven_m2": "Proven covered",
    "proven_share": "Proven covered, share",
    "missed_first_m2": "Missed by the first job",
    "missed_left_m2": "Still missed after touch-ups",
    "double_m2": "Sprayed twice or more",
    "within_10pct_share": "First job: within 10 % of the intended rate",
    "intended_l_ha": "Intended rate of mix",
    "covered_low90_share": "Coverage at least (9 in 10, GPS error)",
}
UNITS = {"m2": "m²", "ha": "ha", "%": "%", "L/ha": "L/ha"}


def withheld_words(record: Record) -> str:
    """What the seller keeps back."""
    place = "" if record["place"] == "exact" else ", the field's place and the files' hashes"
    return (
        f"Withheld by the seller: the track, the times of day, the operator's name{place}. Each part is committed to, "
        "so that the full record can be held against this one."
    )


def rows_of(record: Record) -> list[tuple[str, str, str]]:
    """(name, value, origin) of everything the paper says, in reading order."""
    what = record["what"]
    rows = [
        ("Field", what["field"], "typed"),
        ("Crop", what["crop"], "typed"),
        ("Sprayed on", what["date"], "measured"),
    ]
    for product in what["products"]:
        name = f"{product['name']} (registration {product['reg_no']}), {product['rate']}"
        rows += [("Product", name, "typed")]
        rows += [("Earliest cut by the interval given", product["earliest_cut"], "derived")]
        rows += [("Earliest grazing by the interval given", product["earliest_grazing"], "derived")]
    if not what["products"]:
        rows.append(("Product", "not stated", "typed"))
    for key, name in FIGURES.items():
        figure = record["figures"][key]
        value = "not known" if figure["value"] is None else f"{figure['value']} {UNITS[figure['unit']]}"
        value = "less than 0.1 ha" if value == "0.0 ha" else value
        rows.append((name, value, figure["origin"]))
    for job in record["later"]:
        rows.append(("Touch-up job, counted above", f"{job['date']} {', '.join(job['products'])}".strip(), "measured"))
    rows += [(name, what["label"][key], "typed by the seller") for key, name in LABEL.items()]
    return rows


def page_of(record: Record) -> str:
    """The whole page; it loads nothing, and holds the record that it was made from."""
    mark = fingerprint(record)
    code = library("segno").make(mark, error="m").svg_inline(scale=3, omitsize=False)
    # "<" cannot end the script element: it is written as an escape that JSON reads back
    data = json.dumps(record, ensure_ascii=True, sort_keys=True).replace("<", "\\u003c")
    return (
        page_templates()
        .get_template("proof.html")
        .render(
            title=TITLE,
            record=record,
            rows=rows_of(record),
            how=HOW,
            not_said=NOT_SAID,
            fingerprint=mark,
            words=spoken(mark),
            code=Markup(code),  # noqa: S704 - made by the library of hex digits
            data=Markup(data),  # noqa: S704 - JSON with "<" escaped
            withheld=withheld_words(record),
            map_words=MAP_WORDS[record["place"]],
            paths=_svg_paths(record["map"]),
            signed=record.get("signature"),
        )
    )


def _svg_paths(drawing: Record) -> list[tuple[str, str]]:
    shapes = [("outline", drawing["outline"]), *(("missed", shape) for shape in drawing["missed"])]
    return [
        (kind, "M" + " ".join(f"{x},{1000 - y}" for x, y in points) + "Z") for kind, points in shapes if len(points) > 2
    ]


def pdf_of(record: Record) -> bytes:
    """The paper as a PDF of one or two pages (A4); the same record gives the same bytes."""
    mark = fingerprint(record)
    paper = library("fpdf").FPDF(format="A4")
    paper.set_creation_date(dt.datetime.fromisoformat(record["made"] + "T00:00:00+00:00"))
    paper.set_title(TITLE)
    paper.set_lang("en")
    paper.set_margin(16)
    paper.set_auto_page_break(auto=True, margin=14)
    paper.add_page()
    paper.set_font("Helvetica", "B", 18)
    paper.cell(0, 10, TITLE, new_x="LMARGIN", new_y="NEXT")
    _table(paper, rows_of(record))
    _drawing(paper, record["map"], record["place"])
    for heading, lines in (("How it was measured", (HOW,)), ("What this does not say", NOT_SAID)):
        paper.set_font("Helvetica", "B", 10)
        paper.cell(0, 6, heading, new_x="LMARGIN", new_y="NEXT")
        paper.set_font("Helvetica", "", 8.5)
        for line in lines:
            paper.multi_cell(0, 4.2, _latin(line), new_x="LMARGIN", new_y="NEXT")
    paper.multi_cell(0, 4.2, _latin(withheld_words(record)), new_x="LMARGIN", new_y="NEXT")
    _seal(paper, record, mark)
    return bytes(paper.output())


def _latin(words: str) -> str:
    """Text in the letters that the PDF's own fonts have; others show as "?" there and whole on the page."""
    return words.encode("cp1252", "replace").decode("cp1252").encode("latin-1", "replace").decode("latin-1")


def _table(paper: Any, rows: list[tuple[str, str, str]]) -> None:  # noqa: ANN401 - an FPDF
    for name, value, origin in rows:
        paper.set_font("Helvetica", "", 9)
        top = paper.get_y()
        paper.cell(74, 5, _latin(name))
        paper.set_font("Helvetica", "B", 9)
        paper.multi_cell(76, 5, _latin(value), new_x="RIGHT", new_y="TOP", align="L")
        bottom = top + 5 * max(1, len(paper.multi_cell(76, 5, _latin(value), dry_run=True, output="LINES")))
        paper.set_font("Helvetica", "I", 8)
        paper.cell(0, 5, origin)
        paper.set_xy(paper.l_margin, bottom)
    paper.ln(2)


def _drawing(paper: Any, drawing: Record, place: str) -> None:  # noqa: ANN401 - an FPDF
    if len(drawing["outline"]) < 3:
        return
    size, left, top = 46.0, paper.l_margin, paper.get_y()
    scale = size / 1000

    def placed(points: list[list[int]]) -> list[tuple[float, float]]:
        return [(left + x * scale, top + size - y * scale) for x, y in points]

    paper.set_line_width(0.4)
    paper.polygon(placed(drawing["outline"]), style="D")
    paper.set_fill_color(0)
    for shape in drawing["missed"]:
        paper.polygon(placed(shape), style="F")
    paper.set_xy(left + size + 4, top)
    paper.set_font("Helvetica", "", 8.5)
    paper.multi_cell(0, 4.2, MAP_WORDS[place], new_x="LMARGIN", new_y="NEXT")
    paper.set_y(top + size + 3)


MAP_WORDS = {
    "exact": "The field; black: missed by the first job.",
    "blurred": "The field's shape, distorted on purpose: without scale, north or place.",
    "none": "",
}


def _seal(paper: Any, record: Record, mark: str) -> None:  # noqa: ANN401 - an FPDF
    paper.ln(2)
    if paper.get_y() > 297 - 50:
        paper.add_page()
    top, left = paper.get_y(), paper.l_margin
    matrix = library("segno").make(mark, error="m").matrix
    module = 30 / len(matrix)
    paper.set_fill_color(0)
    for row, line in enumerate(matrix):
        for column, dark in enumerate(line):
            if dark:
                paper.rect(left + column * module, top + row * module, module, module, style="F")
    paper.set_xy(left + 36, top)
    paper.set_font("Helvetica", "", 9)
    signed = record.get("signature")
    words = [
        f"Fingerprint of the record: {spoken(mark)}",
        mark,
        "Signed with the key " + signed["public_key"] if signed else "NOT SIGNED: the grower's own paper",
        f"Made on {record['made']}. Check it: coverage-audit verify proof-buyer.json",
    ]
    paper.set_left_margin(left + 36)
    for line in words:
        paper.multi_cell(0, 4.6, line, new_x="LMARGIN", new_y="NEXT")
    paper.set_left_margin(left)
