"""The buyer's paper as one self-contained page, made from the record alone; :mod:`.proof_pdf` prints the same."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from coverage_audit.papers.templating import page_templates
from coverage_audit.papers.words.safe import one_line, other_scripts
from coverage_audit.units import ACRE_M2, HECTARE_M2, RATE_L_HA

from .code import code_path
from .names import MISSING
from .picture import MAP_WORDS, bar_of, whole_percents
from .rests import LOG, MADE, RESTS, SAYS, TYPED, land_words, placed
from .sign import fingerprint, key_number, number, record_text
from .tolerances import LONGEST_ROW

if TYPE_CHECKING:
    from collections.abc import Sequence

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
    "on gaps in the log, or on a tank that may have run dry, is not counted as proven. The proven "
    "share is the lower of two: the share as logged, and the share that 19 of 20 cases reach once GPS error is counted "
    "in, as far as the log itself tells that error. What the seller says of the receiver does not move it."
)
LABEL = {
    "hay_leaving_farm": "Label on hay leaving the farm",
    "feeding": "Label on feeding",
    "manure_compost": "Label on manure and compost",
}
WITHHELD = {
    place: (
        f"Withheld by the seller: the track, the times of day, the operator's name{more} and the files' hashes. "
        "Each part is committed to, so that the full record can be held against this one."
    )
    for place, more in (("exact", ""), ("hidden", ", the field's shape and place"))
}
CHECKING = (
    "Check it: open check-a-proof.html in a web browser, drop this paper on it, and type the number of the key that "
    "the grower read to you. Get that page from somebody you trust who has the program coverage-audit {version}, not "
    "from the seller; its SHA-256 is {checker}. Or use the command: coverage-audit proof check."
)
FIGURES = {
    "target_m2": "Ground to be sprayed",
    "proven_m2": "Proven covered",
    "proven_share": "Proven covered, share",
    "logged_share": "As logged, GPS error left aside",
    "missed_first_m2": "Missed by the first job",
    "missed_left_m2": "Still missed after touch-ups",
    "double_m2": "Sprayed twice or more by the first job",
    "within_10pct_share": "Within 10 % of the intended rate",
    "intended_l_ha": "Intended rate of mix",
}
INTERVAL = "derived from a typed interval"
UNSTATED = (MISSING, "not known")
MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
UNITS = {"m2": "m²"}
US = {
    "m2": (Decimal(repr(ACRE_M2)), Decimal("0.01"), "ac"),
    "ha": (Decimal(repr(ACRE_M2 / HECTARE_M2)), Decimal("0.1"), "ac"),
    "L/ha": (Decimal(repr(RATE_L_HA["gal/ac"])), Decimal("0.1"), "gal/ac"),
}
"""Unit of a figure to its size in the US unit, the digits shown, and that unit's name."""


def withheld_words(record: Record) -> str:
    """What the seller keeps back."""
    return WITHHELD["exact" if record["place"] == "exact" else "hidden"]


def rows_of(record: Record) -> list[tuple[str, str, str]]:
    """(name, value, origin) of everything the paper says, in reading order."""
    what = record["what"]
    known = TYPED if record["rests"][0]["date"]["is"] == "typed" else LOG
    rows = [_typed("Field", what["field"]), _typed("Crop", what["crop"]), ("Sprayed on", what["date"], known)]
    for product in what["products"]:
        rows.append(_typed("Product", f"{product['name']} (registration {product['reg_no']}), {product['rate']}"))
        rows += [("Earliest cut by the interval given", product["earliest_cut"], INTERVAL)]
        rows += [("Earliest grazing by the interval given", product["earliest_grazing"], INTERVAL)]
    if not what["products"]:
        rows.append(("Product", MISSING, "typed"))
    for key, name in FIGURES.items():
        figure = record["figures"][key]
        rows.append((name, _shown(figure, record["units"]), figure["origin"]))
    for job in record["later"]:
        rows.append(("Touch-up job, counted above", job["date"], "measured"))
        if job["products"]:
            rows.append(_typed("Products of that job", ", ".join(job["products"])))
    rows += [_typed(name, what["label"][key], "typed by the seller") for key, name in LABEL.items()]
    missing = [name for name, value, _ in rows if value in UNSTATED]
    rows = [row for row in rows if row[1] not in UNSTATED]
    return [*rows, ("Not stated, or not known", "; ".join(missing), "")] if missing else rows


def _shown(figure: Record, units: str) -> str:
    """A figure in the seller's units; land in acres to a tenth, where the record has m2 to a hundredth."""
    value, unit = figure["value"], figure["unit"]
    if value is None:
        return "not known"
    if units == "us" and unit in US:
        size, step, name = US[unit]
        value, unit = str((Decimal(value) / size).quantize(step)), name
    return f"less than 0.1 {unit}" if value == "0.0" and unit in {"ha", "ac"} else f"{value} {UNITS.get(unit, unit)}"


def sentence_of(record: Record) -> str:
    """The one sentence that stands first."""
    says, days = record["says"], dict.fromkeys([record["what"]["date"], *(job["date"] for job in record["later"])])
    values = {name: str(value) for name, value in whole_percents(record).items()}
    values |= {name: land_words(says[name]) for name in ("target", "passed")}
    return placed(SAYS[says["is"]], {**values, "date": " and ".join(map(_day, days))})


def _day(text: str) -> str:
    day = dt.date.fromisoformat(text)
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def rests_rows(record: Record) -> list[tuple[str, str, str]]:
    """(name, sentence, origin) of all that moves the figures, for each job."""
    rows = []
    for place, rests in enumerate(record["rests"]):
        job = f"Touch-up {place}: " if place else ""
        rows += [
            (job + line.name, placed(line.cases[rests[key]["is"]], rests[key]), line.origin)
            for key, line in RESTS.items()
        ]
    return [*rows, (MADE.name, made_words(record), MADE.origin)]


def made_words(record: Record) -> str:
    """How it is known when the proof was made."""
    values = {"made": record["made"][:10], "stamp": record.get("time_stamp", {}).get("time", "")}
    return placed(MADE.cases[record["time"]["is"]], values)


def checking_words(record: Record) -> str:
    """How a buyer checks the paper."""
    return CHECKING.format(version=record["software"]["coverage-audit"], checker=record["checker"])


def _typed(name: str, value: str, origin: str = "typed") -> tuple[str, str, str]:
    """Row of what a person typed: one line, and letters that may look like others are named."""
    scripts = other_scripts(value)
    return name, one_line(value, LONGEST_ROW, spelled=True), f"{origin}; with {scripts} letters" if scripts else origin


def page_of(record: Record) -> str:
    """The whole page; it loads nothing, and holds the record that it was made from.

    The page that checks a proof fills the same template by a script of its own: its slots stand for text or markup,
    and it has no other rule.
    """
    return page_templates().get_template(TEMPLATE).render(slots(record))


TEMPLATE = "proof.html"
DONE_ROW = Markup('<tr><th scope="row">{}</th><td class="value">{}</td><td class="origin">{}</td></tr>\n')
REST_ROW = Markup('<tr><th scope="row">{}</th><td>{}</td><td class="origin">{}</td></tr>\n')
LIMIT = Markup("<li>{}</li>\n")
FIELD = Markup(
    '<svg class="field" viewBox="-10 -10 1020 1020" role="img" aria-label="The field\'s outline">'
    '<path class="outline" d="{}"/><path class="missed" d="{}"/></svg>\n'
)
KEY_LINES = Markup("<p>Number of the key it is signed with: <strong>{}</strong></p>\n<p><code>{}</code></p>")
UNSIGNED = Markup("<p><strong>NOT SIGNED: the grower's own paper.</strong></p>")


def slots(record: Record) -> Record:
    """What stands in the slots of the page's template."""
    mark, bar, key = fingerprint(record), bar_of(record), record.get("signature", {}).get("public_key")
    return {
        "title": TITLE,
        "sentence": sentence_of(record),
        "bar": bar.words,
        "proven": str(bar.proven),
        "rest": str(bar.rest),
        "map": _map(record),
        "map_words": MAP_WORDS[record["place"]],
        "done": _marked(DONE_ROW, rows_of(record)),
        "rests": _marked(REST_ROW, rests_rows(record)),
        "how": HOW,
        "limits": _marked(LIMIT, [(line,) for line in NOT_SAID]),
        "withheld": withheld_words(record),
        "code": code_path(mark),
        "number": number(mark),
        "mark": mark,
        "key": KEY_LINES.format(key_number(key), key) if key else UNSIGNED,
        "checking": checking_words(record),
        "data": Markup(record_text(record)),  # noqa: S704 - no "<" is in it, so nothing ends its element
    }


def _marked(row: Markup, values: Sequence[tuple[str, ...]]) -> Markup:
    return Markup("").join(row.format(*one) for one in values)


def _map(record: Record) -> Markup:
    if record["place"] != "exact":
        return Markup("")
    drawing = record["map"]
    return FIELD.format(_path([drawing["outline"]]), _path(drawing["missed"]))


def _path(shapes: list[list[list[int]]]) -> str:
    """Path of an SVG, north up."""
    return "".join("M" + " ".join(f"{x},{1000 - y}" for x, y in shape) + "Z" for shape in shapes if len(shape) > 2)
