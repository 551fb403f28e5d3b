"""Which fields the laws ask for, and where: data only.

Read: 7 CFR 110.3 (a) as of 1 January 2006; article 67 (1) of Regulation (EC) 1107/2009 as recital 1 of Implementing
Regulation (EU) 2023/564 tells it. From memory, and marked so on every paper: the annex of (EU) 2023/564, and of
7 CFR 110.3 the 14 days and the 2 years.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Asked:
    """One field that a law asks for: its name, its words, and the point. ``read``: the published text was read."""

    name: str
    words: str
    point: str
    read: bool = True


@dataclass(frozen=True)
class Law:
    """``key`` in the files; whom it is for, in ``words``; its fields in the law's own order."""

    key: str
    title: str
    words: str
    fields: tuple[Asked, ...]


US = Law(
    "us_7_cfr_110_3",
    "7 CFR 110.3",
    "restricted use pesticides in the United States, by certified applicators",
    (
        Asked("product_name", "Brand or product name", "(a)(1)"),
        Asked("registration_number", "EPA registration number", "(a)(1)"),
        Asked("total_amount", "Total amount applied", "(a)(2)"),
        Asked("location", "Location", "(a)(3)"),
        Asked("size_of_area", "Size of area treated", "(a)(3)"),
        Asked("crop", "Crop, commodity or site", "(a)(3)"),
        Asked("date", "Month, day and year", "(a)(4)"),
        Asked("applicator", "Certified applicator", "(a)(5)"),
        Asked("certificate", "Certification number, if applicable", "(a)(5)"),
    ),
)
_ARTICLE = "art. 67 (1) of (EC) 1107/2009"
EU = Law(
    "eu_2023_564",
    "Regulation (EU) 2023/564",
    "professional users of plant protection products in the European Union",
    (
        Asked("type_of_use", "Type of use", "art. 1 and annex", read=False),
        Asked("product_name", "Plant protection product", _ARTICLE),
        Asked("authorisation_number", "Authorisation number", "art. 1 and annex", read=False),
        Asked("date", "Date", _ARTICLE),
        Asked("start_time", "Start time, where use is limited in time", "art. 1 and annex", read=False),
        Asked("dose", "Dose", _ARTICLE),
        Asked("place", "Place treated, as geodata", "art. 1 and annex", read=False),
        Asked("size_treated", "Area treated", _ARTICLE),
        Asked("crop", "Crop", _ARTICLE),
        Asked("eppo_code", "EPPO code of the crop", "art. 1 and annex", read=False),
        Asked("bbch", "Growth stage (BBCH), where use is limited by it", "art. 1 and annex", read=False),
        Asked("user", "Professional user who keeps the record", _ARTICLE),
    ),
)
LAWS = (US, EU)

RECORD_WITHIN_DAYS, KEEP_YEARS = 14, 2
"""7 CFR 110.3, paragraphs on time and retention; from memory, as extension services tell it too. [days], [years]"""

NOTE = (
    "What is asked for differs by state and country, and changes: your own law, and the label, decide. Fields marked "
    "(from memory) were not read in the published text."
)
