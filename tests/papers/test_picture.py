"""The picture that one sends, and the page made of it."""

import dataclasses
import io

import numpy as np
import pytest
import shapely
from audit_builder import large_job, make_audit, worked_figure
from PIL import Image
from pypdf import PdfReader
from pypdfium2 import PdfDocument

from coverage_audit.papers.maps.painted import PAPER, WASH, painted_map
from coverage_audit.papers.picture import alternative, plain, report_pdf, report_png
from coverage_audit.papers.picture_page import PageText, picture_page


def rgb(colour):
    return tuple(int(colour[k : k + 2], 16) for k in (1, 3, 5))


def test_the_picture_is_a_png_of_1200_pixels_and_the_same_each_time():
    made = report_png(large_job("us"))
    with Image.open(io.BytesIO(made)) as image:
        assert (image.format, image.width) == ("PNG", 1200)
        assert 900 < image.height < 2400
    assert made == report_png(large_job("us"))
    assert len(made) < 300_000  # a message carries it


@pytest.mark.parametrize(("wide", "ink"), [(5.0, 100), (1.0, 185)], ids=["sure", "cannot be told"])
def test_each_kind_of_ground_lies_where_the_audit_has_it(wide, ink):
    """100 x 60 m with a missed strip: sprayed ground is plain, missed ground hatched in ink over paper.

    Paler where a strip is narrower than twice the metre that such positions are off.
    """
    audit = worked_figure()
    (one,) = audit.missed_strips
    audit = dataclasses.replace(audit, missed_strips=(dataclasses.replace(one, mean_width_m=wide),))
    image, pixels = painted_map(audit, 1000, 700)
    (strip,) = audit.missed_strips
    colours = np.asarray(image)

    def seen(shape):
        west, south, east, north = shapely.bounds(shape)
        (left, low), (right, high) = pixels(np.array([[west, south], [east, north]]))
        return colours[int(high) + 2 : int(low) - 1, int(left) + 2 : int(right) - 1].reshape(-1, 3)

    once = seen(shapely.box(2, 2, 8, 58))
    assert (np.abs(once.astype(int) - rgb(WASH)).max(axis=1) < 3).mean() > 0.8  # but for the line driven
    hatched = seen(strip.polygon)
    dark = (hatched.mean(axis=1) < ink).mean()
    assert 0.15 < dark < 0.6
    assert (wide > 2.0) == bool((hatched.mean(axis=1) < 100).any())
    assert tuple(colours[1, 1].tolist()) == rgb(PAPER)


def test_a_hole_in_the_field_is_no_ground():
    field = shapely.box(0, 0, 100, 60) - shapely.box(40, 20, 60, 40)
    audit = make_audit(field, [shapely.LineString([(0, 5), (100, 5)])], [], [])
    image, pixels = painted_map(audit, 1000, 700)
    x, y = pixels(np.array([[50.0, 30.0]]))[0].astype(int)
    assert image.getpixel((int(x), int(y))) == rgb(PAPER)


def test_names_keep_what_the_font_has():
    assert plain("Wiesenstück Ø 3,613\u00a0ft²") == "Wiesenstuck ? 3,613 ft²"


@pytest.mark.parametrize(("units", "size"), [("us", (612, 792)), ("metric", (595, 842))])
def test_the_page_is_one_sheet_of_the_persons_paper_and_says_what_it_shows(units, size):
    """Read by pypdf, which takes no part in writing it; the picture is there dot for dot."""
    audit = large_job(units)
    picture = report_png(audit)
    made = report_pdf(audit, picture)
    reader = PdfReader(io.BytesIO(made), strict=True)
    (page,) = reader.pages
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(size, abs=1)
    (image,) = page.images
    with Image.open(io.BytesIO(picture)) as shown:
        assert np.array_equal(np.asarray(image.image.convert("RGB")), np.asarray(shown.convert("RGB")))
    about = reader.trailer["/Root"]
    assert (about["/Lang"], about["/MarkInfo"]["/Marked"]) == ("en", True)
    figure = about["/StructTreeRoot"]["/K"]["/K"][0].get_object()
    assert (figure["/S"], figure["/Alt"]) == ("/Figure", plain(alternative(audit)))
    assert reader.metadata.title == plain(audit.job.settings.name or "Spray job")
    assert reader.metadata.creation_date.timestamp() == round(audit.end_s)
    assert made == report_pdf(audit, picture)


@pytest.mark.parametrize("colours", [2, 4, 16, 64, 256])
def test_a_page_is_drawn_as_its_picture_is(colours):
    """By pypdfium2, a dot of the picture four wide: every one has its colour, however few bits it takes."""
    dots = np.arange(37 * 11) * 7 % colours
    image = Image.fromarray(dots.astype(np.uint8).reshape(11, 37), "P")
    image.putpalette(bytes(value for one in range(colours) for value in (one * 255 // colours, 255 - one, one // 2)))
    png = io.BytesIO()
    image.save(png, "PNG")
    side = 72 / 25.4
    text = PageText("\u0141\u0105ka (1)", "a \\ picture", 0.0)
    page = PdfDocument(picture_page(png.getvalue(), ((37 + 10) / side, 30 / side), 5 / side, text))[0]
    drawn = np.asarray(page.render(scale=4).to_pil().convert("RGB")).astype(int)
    seen = drawn[5 * 4 + 2 : (5 + 11) * 4 : 4, 5 * 4 + 2 : (5 + 37) * 4 : 4]
    assert np.abs(seen - np.asarray(image.convert("RGB")).astype(int)).max() <= 1  # a colour is rounded on its way


def test_a_picture_of_full_colours_is_refused():
    png = io.BytesIO()
    Image.new("RGB", (3, 2)).save(png, "PNG")
    with pytest.raises(ValueError, match="indexed"):
        picture_page(png.getvalue(), (210.0, 297.0), 10.0, PageText("", "", 0.0))
