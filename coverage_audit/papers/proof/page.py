"""The buyer's paper as one self-contained page, made from the record alone; :mod:`.proof_pdf` prints the same."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from coverage_audit.papers.templating import page_templates
from coverage_audit.papers.words.safe import one_line, other_scripts

from .picture import MAP_WORDS, bar_of
from .sign import fingerprint, key_number, library, number, record_text
from .tolerances import LONGEST_ROW

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
    "double_m2": "Sprayed twice or more by the first job",
    "within_10pct_share": "Within 10 % of the intended rate",
    "intended_l_ha": "Intended rate of mix",
    "covered_low90_share": "First job covered at least (90 % range)",
}
UNITS = {"m2": "m²", "ha": "ha", "%": "%", "L/ha": "L/ha"}


def withheld_words(record: Record) -> str:
    """What the seller keeps back."""
    place = "" if record["place"] == "exact" else ", the field's shape and place"
    return (
        f"Withheld by the seller: the track, the times of day, the operator's name{place} and the files' hashes. "
        "Each part is committed to, so that the full record can be held against this one."
    )


def rows_of(record: Record) -> list[tuple[str, str, str]]:
    """(name, value, origin) of everything the paper says, in reading order."""
    what = record["what"]
    rows = [_typed("Field", what["field"]), _typed("Crop", what["crop"]), ("Sprayed on", what["date"], "measured")]
    for product in what["products"]:
        rows.append(_typed("Product", f"{product['name']} (registration {product['reg_no']}), {product['rate']}"))
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
        rows.append(("Touch-up job, counted above", job["date"], "measured"))
        if job["products"]:
            rows.append(_typed("Products of that job", ", ".join(job["products"])))
    rows += [_typed(name, what["label"][key], "typed by the seller") for key, name in LABEL.items()]
    return rows


def _typed(name: str, value: str, origin: str = "typed") -> tuple[str, str, str]:
    """Row of what a person typed: one line, and letters that may look like others are named."""
    scripts = other_scripts(value)
    return name, one_line(value, LONGEST_ROW, spelled=True), f"{origin}; with {scripts} letters" if scripts else origin


def page_of(record: Record) -> str:
    """The whole page; it loads nothing, and holds the record that it was made from."""
    mark = fingerprint(record)
    code = library("segno").make(mark, error="m").svg_inline(scale=3, omitsize=False)
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
            number=number(mark),
            key_number=key_number(record["signature"]["public_key"]) if record.get("signature") else "",
            code=Markup(code),  # noqa: S704 - made by the library of hex digits
            data=Markup(record_text(record)),  # noqa: S704 - no "<" is in it, so nothing ends its element
            withheld=withheld_words(record),
            map_words=MAP_WORDS[record["place"]],
            paths=_svg_paths(record["map"]) if record["place"] == "exact" else [],
            bar=bar_of(record),
            signed=record.get("signature"),
        )
    )


def _svg_paths(drawing: Record) -> list[tuple[str, str]]:
    shapes = [("outline", drawing["outline"]), *(("missed", shape) for shape in drawing["missed"])]
    return [
        (kind, "M" + " ".join(f"{x},{1000 - y}" for x, y in points) + "Z") for kind, points in shapes if len(points) > 2
    ]
