"""The ledger of a season as one page that needs nothing but itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from markupsafe import Markup

from coverage_audit.papers.maps.ledger import ledger_map

from .templating import page_templates, page_text
from .words import display
from .words import season as words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.ledger.model import FieldLedger, JobRow, Ledger, ProductSeason


def ledger_html(ledger: Ledger) -> str:
    """The page; loads nothing, all names from files escaped."""
    return (
        page_templates()
        .get_template("ledger.html")
        .render(
            title=f"{ledger.farm}, season {ledger.season}",
            style=Markup(page_text("report.css", "compare.css", "ledger.css")),  # noqa: S704 - our own files
            headline=words.headline(ledger),
            support=words.support(ledger),
            failed=ledger.failed,
            units=ledger.units,
            fields=[_field(one, ledger.units, number) for number, one in enumerate(ledger.fields, 1)],
            causes=_causes(ledger),
        )
    )


def _field(one: FieldLedger, units: str, number: int) -> dict[str, Any]:
    return {
        "id": f"field-{number}",
        "name": one.field,
        "map": Markup(ledger_map(one, units)),  # noqa: S704 - made by ledger_map, which escapes
        "days": words.days_sentence(one),
        "jobs": [_job(job, one, units) for job in one.jobs],
        "products": [_product(product, one, units) for product in one.products],
        "mended": _mended(one, units),
        "touchups": one.touchups,
        "shared": any(one.mended_m2(job.job, together=True) for job in one.jobs),
        "treatments": [words.treatment(group, one, units) for group in one.treatments],
    }


def _job(job: JobRow, one: FieldLedger, units: str) -> dict[str, Any]:
    area = job.area_m2
    mended, shared = (one.mended_m2(job.job, together=together) for together in (False, True))
    touchup = job.job in one.touchups
    return {
        "day": words.day_words(job.first_day),
        "name": job.name or job.job.removeprefix("jobs/"),
        "report": f"../../{quote(job.job)}/report/report.html",
        "machine": job.machine,
        "touchup": touchup,
        "marks": words.job_marks(job, one),
        "target": display.area(area.get("target") or 0.0, units),
        "covered": _share(area.get("covered"), area.get("target")),
        "missed": "left on purpose" if touchup else display.area(area.get("missed") or 0.0, units),
        "mended": display.area(mended, units) if mended else "",
        "shared": display.area(shared, units) if shared else "",
        "double": display.area(area.get("double") or 0.0, units),
        "rate": display.rate(job.over_covered_l_ha, units),
    }


def _share(part: float | None, whole: float | None) -> str:
    return display.NOT_KNOWN if part is None or not whole else display.share(part, whole)


def _product(product: ProductSeason, one: FieldLedger, units: str) -> dict[str, Any]:
    names = {job.job: job.name or job.job.removeprefix("jobs/") for job in one.jobs}
    above = product.above_m2
    return {
        "name": product.name + (f" (reg. no. {product.reg_no})" if product.reg_no else ""),
        "jobs": display.count(len(product.jobs), "job"),
        "most": words.used_so_far(product, units),
        "limit": words.dose(product.max_per_season, product.unit, units) if product.max_per_season else "not typed in",
        "left": words.room_left(product, units),
        "above": display.NOT_KNOWN if above is None else display.area(above, units) if above else "nothing",
        "places": [
            {
                "area": display.area(place.area_m2, units),
                "most": words.dose(place.most_per_ha, product.unit, units),
                "lat": f"{place.lat:.6f}",
                "lon": f"{place.lon:.6f}",
                "jobs": " and ".join(names[job] for job in place.jobs),
            }
            for place in product.places
        ],
    }


def _mended(one: FieldLedger, units: str) -> list[str]:
    """A sentence for each touch-up and job that it mended."""
    names = {job.job: job.name or job.job.removeprefix("jobs/") for job in one.jobs}
    pairs = dict.fromkeys((strip.by, strip.job) for strip in one.mended if not strip.together)
    told = []
    for by, job in pairs:
        own = [strip for strip in one.mended if (strip.by, strip.job, strip.together) == (by, job, False)]
        area = display.area(sum(strip.mended_m2 for strip in own), units)
        missed = display.area(sum(strip.area_m2 for strip in own), units)
        strips = display.count(len(own), "strip")
        told.append(f"{names[by]} sprayed {area} of the {missed} in {strips} that {names[job]} had missed.")
    return told


def _causes(ledger: Ledger) -> list[dict[str, Any]]:
    """Missed strips by machine and cause, the largest area first; touch-ups left out."""
    found: dict[str, dict[str, tuple[int, float]]] = {}
    jobs: dict[str, int] = {}
    whole = [(field, job) for field in ledger.fields for job in field.jobs if job.job not in field.touchups]
    for field, job in whole:
        machine = job.machine or words.NO_MACHINE
        jobs[machine] = jobs.get(machine, 0) + 1
        for cause in field.causes(job.job):
            own = found.setdefault(machine, {})
            count, area = own.get(cause.kind, (0, 0.0))
            own[cause.kind] = (count + cause.strips, area + cause.area_m2)
    return [
        {"machine": machine, "jobs": display.count(jobs[machine], "job"), "rows": _rows(own, ledger.units)}
        for machine, own in sorted(found.items())
    ]


def _rows(own: dict[str, tuple[int, float]], units: str) -> Sequence[dict[str, Any]]:
    whole = sum(area for _, area in own.values()) or 1.0
    ordered = sorted(own.items(), key=lambda entry: -entry[1][1])
    return [
        {
            "cause": words.CAUSES.get(kind, kind),
            "strips": count,
            "area": display.area(area, units),
            "share": f"{100 * area / whole:.1f}",
        }
        for kind, (count, area) in ordered
    ]
