"""Every sentence of every paper of a job, read by a small grammar of its own: kind, places, areas, causes, chances.

It shares no code with what writes the sentences, so that two papers that differ are found to.
"""

import html
import io
import json
import re
from collections import defaultdict

import gpxpy
from PIL import Image
from pypdf import PdfReader

from coverage_audit import run
from coverage_audit.papers.figures.touchup import touchup_sheet
from coverage_audit.papers.geojson import findings_geojson
from coverage_audit.papers.gpx import missed_gpx
from coverage_audit.papers.page import report_html
from coverage_audit.papers.picture import report_pdf, report_png
from coverage_audit.papers.terminal import terminal_text
from coverage_audit.papers.touchup_files import touchup_gpx

FOOT, ACRE = 0.3048, 4046.8564224
"""International foot [m] and acre [m2], by definition (1959)."""

FIRST = re.compile(r"(Go back for|Nothing |This log cannot say)")
DECISIONS = {"Go back for": "go back", "Nothing ": "leave", "This log cannot say": "cannot tell"}
FIGURE = re.compile(
    r"(Surely missed|Perhaps missed|Sprayed twice):? (none|[\d.,]+ (?:ft²|ac))(?: \(?([\d.,]+ to [\d.,]+ (?:ft²|ac)))?"
)
QUANTITY = re.compile(r"([\d.,]*\d) (ft²|ft|in|ac|gal|mph|oz/ac|gal/ac|m²|m|cm|km|ha|L|L/ha|km/h)(?![\w²/])")
RANGE = re.compile(r"([\d.,]*\d)(?: (ft²|ft|in|ac))? to ([\d.,]*\d) (ft²|ft|in|ac)(?![\w²/])")
PLACE = re.compile(r"([\d.,]+ (?:ft²|ac)), ([\d.,]+ (?:ft|in)) long, ([\d.,]+ (?:ft|in)) wide; ([^;.]+)[;.] ?(.*)")
METRIC = {"m²", "m", "cm", "km", "ha", "L", "L/ha", "km/h"}


def plain(text):
    return re.sub(r"\s+", " ", html.unescape(str(text)).replace("\u00a0", " ")).strip()


def shown(page):
    """Blocks of words of a page, folded ones too; no script, no style, no drawing but its description."""
    body = re.sub(r"(?s)<(script|style)\b.*?</\1>", "", page)
    body = re.sub(r"(?s)<svg\b(?:(?!</svg>).)*?<desc[^>]*>(.*?)</desc>.*?</svg>", r"<p>\1</p>", body)
    body = re.sub(r"(?s)<svg\b.*?</svg>", "", body)
    blocks = re.split(r"</?(?:p|li|div|td|th|tr|h\d|dl|summary|figcaption|caption|section|ul|ol|table)\b[^>]*>", body)
    return [plain(re.sub(r"<[^>]+>", " ", block)) for block in blocks if plain(re.sub(r"<[^>]+>", " ", block))]


def figures_of(page):
    """The three figures of the page, each a line as the terminal has it."""
    rows = re.findall(
        r'(?s)</svg> ([^<]+)</dt><dd><strong class="num">([^<]+)</strong>(?: <span class="range">([^<]+))?', page
    )
    return [f"{name}: {best}" + (f" ({ranged}, 9 chances in 10)" if ranged else "") for name, best, ranged in rows]


def lines_of(audit, plan=None):
    """Paper to its lines of text."""
    page, picture = report_html(audit), report_png(audit)
    gpx, found = missed_gpx(audit), json.loads(findings_geojson(audit))
    summary = run.summary(audit)
    told = {
        "page": [*shown(page), *map(plain, figures_of(page))],
        "terminal": [plain(line) for line in terminal_text(audit).splitlines() if line.strip()],
        "summary": [summary["decision"]["sentence"], *map(plain, summary["cautions"])],
        "notebook": shown(run.notebook_html(audit)),
        "missed.gpx": [plain(one.description) for one in gpxpy.parse(gpx).waypoints],
        "findings": [plain(one["properties"].get("cause", "")) for one in found["features"]],
        "png": [plain(Image.open(io.BytesIO(picture)).text["Description"])],
        "pdf": [plain(words) for words in pdf_words(report_pdf(audit, picture))],
    }
    if plan is not None:
        told["sheet"] = shown(touchup_sheet(audit, plan))
        told["touchup.gpx"] = [plain(one.description or "") for one in gpxpy.parse(touchup_gpx(audit, plan)).waypoints]
    return told


def pdf_words(paper):
    """What a reader aloud says of the page: the alternative texts of its structure."""
    tree = PdfReader(io.BytesIO(paper)).trailer["/Root"]["/StructTreeRoot"]
    heap, found = [tree], []
    while heap:
        one = heap.pop()
        one = one.get_object()
        if "/Alt" in one:
            found.append(str(one["/Alt"]))
        kids = one.get("/K", [])
        heap += [kid for kid in (kids if isinstance(kids, list) else [kids]) if hasattr(kid.get_object(), "get")]
    return found


def sentences(lines):
    """Lines cut into sentences; a full stop within a number ends none."""
    return [part.strip() for line in lines for part in re.split(r"(?<=[.?!])\s+(?=[A-Z])", line) if part.strip()]


def square_metres(text):
    """An area as told, in m2: "3,613 ft²"."""
    value, unit = text.split(" ")
    return float(value.replace(",", "")) * {"ft²": FOOT**2, "ac": ACRE}[unit]


def places_of(audit):
    """Id of each place to go to, with what each paper says of it: {id: {"size": {...}, "cause": {...}, ...}}."""
    page = report_html(audit).replace("\u00a0", " ")
    cards = re.findall(r'(?s)<li data-goto="(M\d+)">.*?<p>(.*?)</p>', page)
    rows = [(name, plain(text).rstrip(".")) for name, text in cards]
    rows += [(one.name, plain(one.description)) for one in gpxpy.parse(missed_gpx(audit)).waypoints]
    seen = defaultdict(lambda: defaultdict(set))
    for name, text in rows:
        for key, value in zip(("size", "long", "wide", "chance", "cause"), PLACE.fullmatch(text).groups(), strict=True):
            seen[name][key].add(value[0].lower() + value[1:])
    for one in json.loads(findings_geojson(audit))["features"]:
        if one["properties"].get("id") in seen:
            seen[one["properties"]["id"]]["cause"].add(plain(one["properties"]["cause"]))
    for name, cause in re.findall(r'(?s)data-find="(M\d+)".*?data-label="Where">(.*?)</td>', page):
        if name in seen:
            seen[name]["cause"].add(plain(cause).split("; ")[0] if "; " in cause else plain(cause))
    return seen
