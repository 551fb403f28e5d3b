"""What readers of files caution of, and the sentence that a person gets, each code once."""

from coverage_audit.facts import Caution
from coverage_audit.papers.words.cautions import texts

TOLD_OF_FILES = [
    (
        Caution("file cut off", file="a.gpx", how="end", count=12, thing="track point", line=40),
        (
            "a.gpx: the file is cut off at its end (line 40); 12 track point(s) before that were read. What was driven "
            "after is not in it."
        ),
    ),
    (
        Caution("file checksum wrong", file="a.fit"),
        "a.fit: its checksum is wrong, so some of it may be damaged unseen.",
    ),
    (
        Caution("times uneven", file="a.json", count=2),
        "a.json: 2 line(s) have other numbers of times than of places; the first of both were paired.",
    ),
    (
        Caution("fields unreadable", file="a.gpx", fields=(("hdop", 3), ("speed", 1))),
        "a.gpx: optional fields that could not be read were left out (3 hdop, 1 speed).",
    ),
    (
        Caution("points without satellites", file="a.gpx", count=7),
        'a.gpx: 7 points say fix "none", so their places are not from satellites.',
    ),
    (
        Caution("no checksums", file="a.nmea"),
        "a.nmea: no sentence has a checksum, so damaged ones cannot be told.",
    ),
    (
        Caution("sentences broken", file="a.nmea", count=3),
        "a.nmea: 3 sentences whose begin is damaged were skipped.",
    ),
    (
        Caution("positions not measured", file="a.nmea", count=5, kind="estimated"),
        "a.nmea: 5 positions are estimated (dead reckoning), not measured.",
    ),
    (
        Caution("job date differs", file="a.nmea", job_date="2026-05-30", logged="2026-05-28"),
        "a.nmea: job.date is 2026-05-30, but the log itself says 2026-05-28; the log is followed.",
    ),
    (
        Caution("week rolled over", file="a.nmea", logged="2006-10-14", right="2026-05-30"),
        "a.nmea: the log says 2006-10-14; the receiver's week counter rolled over and was set to 2026-05-30.",
    ),
    (
        Caution("week doubtful", file="a.nmea", logged="2006-10-14"),
        "a.nmea: the log says 2006-10-14; if that is 1024 weeks early, set job.date to the true date.",
    ),
    (
        Caution("transducers doubtful", file="a.nmea", names=("BOOM1", "BOOM2")),
        (
            "a.nmea: the log begins and ends with XDR BOOM1, BOOM2, so it may belong to the fix before it; it was "
            "given to the fix after it."
        ),
    ),
    (
        Caution("packed others", file="a.zip", count=4, names=("a.txt", "b.txt", "c.txt")),
        "a.zip: 4 of its files are no logs and were left out (a.txt, b.txt, c.txt).",
    ),
    (
        Caution("log not of the time", file="day.zip, 2.gpx", count=900),
        ("day.zip, 2.gpx: none of its 900 fixes lies in the time of this job (track.from, track.to); it was left out."),
    ),
    (
        Caution("terminal clock local", file="TASKDATA.XML", timezone=""),
        (
            "TASKDATA.XML: its positions state no UTC; the terminal's clock, which is local, was read as UTC, as no "
            "time zone is given (job.timezone)."
        ),
    ),
    (
        Caution("terminal clock unset", file="TASKDATA.XML"),
        "TASKDATA.XML: the terminal's clock was never set: it shows the year 1980.",
    ),
    (
        Caution("parts missing", file="TASKDATA.XML", names=("TLG00001.BIN", "TLG00002.BIN")),
        "TASKDATA.XML: TLG00001.BIN, TLG00002.BIN belong to it and are not there; copy the whole folder.",
    ),
    (
        Caution("time logs cut off", file="TASKDATA.XML", count=1),
        "TASKDATA.XML: 1 time log(s) are cut off at the end and were read to the last whole record.",
    ),
    (
        Caution("time logs damaged", file="TASKDATA.XML", count=2),
        "TASKDATA.XML: 2 place(s) of the time logs are damaged and were stepped over.",
    ),
    (
        Caution("values without a place", file="TASKDATA.XML", count=3),
        "TASKDATA.XML: 3 logged value(s) have no place in their header and were left out.",
    ),
    (
        Caution("work states in error", file="TASKDATA.XML", count=4),
        'TASKDATA.XML: 4 work state(s) say "error" and were taken as off.',
    ),
    (
        Caution("sections unplaced", device="Sprayer 9"),
        "Sprayer 9 does not say where its sections sit; they were taken as numbered from the left.",
    ),
    (
        Caution("sections numbered otherwise", device="Sprayer 9"),
        (
            "Sprayer 9 does not number its sections from the left; the states it logged of all of them together were "
            "taken from the left, as ISO 11783-11 has them."
        ),
    ),
    (
        Caution("sections apart", device="Sprayer 9", apart_m=0.2),
        "Sprayer 9 has sections with gaps of 0.20 m; they were taken side by side.",
    ),
    (
        Caution("products named", file="TASKDATA.XML", names=("Thistle Ban", "Water")),
        (
            'TASKDATA.XML: the task names "Thistle Ban", "Water"; list it as [[product]] with what its label says, to '
            "have that checked."
        ),
    ),
    (
        Caution("rate logged", file="TASKDATA.XML", mean_l_ha=93.54),
        "TASKDATA.XML: the terminal logged 93.54 L/ha on average while anything came out.",
    ),
    (
        Caution("volume counted", file="TASKDATA.XML", total_l=378.5),
        "TASKDATA.XML: the terminal counted 378.5 L put down; rate.applied takes what left the tank.",
    ),
    (
        Caution("width varied", file="TASKDATA.XML", least_m=4.5, most_m=9.0),
        (
            "TASKDATA.XML: the logged working width went from 4.5 m to 9 m, and no section states were logged; the "
            "boom counts as equally wide all the time."
        ),
    ),
    (
        Caution("outline closed", place='a.gpx, line "field"', gap_m=3.25),
        'a.gpx, line "field": its ends lie 3.2 m apart; it was closed with a straight line.',
    ),
    (
        Caution("shapes without area", file="a.kml", count=2),
        "a.kml: 2 shape(s) without an area (points, lines) were left out.",
    ),
    (
        Caution("outline repaired", place='a.json, "West"', doubt_m2=0.4),
        'a.json, "West": the boundary was not valid and was repaired; no reading of it differs by more than 0.4\xa0m².',
    ),
    (
        Caution("reference system assumed", file="a.shp"),
        "a.shp: it states no coordinate reference system; taken as WGS 84 degrees.",
    ),
    (
        Caution("reference system turned", file="a.shp", name="ETRS89 / UTM zone 32N"),
        'a.shp: its coordinates were turned from "ETRS89 / UTM zone 32N" into WGS 84 degrees.',
    ),
    (
        Caution("outline from drive", file="a.json"),
        "a.json: this outline was made from a drive over the field, so a skip along the edge does not show.",
    ),
    (
        Caution("links not opened", file="a.kml"),
        "a.kml: it points at other places (NetworkLink), which were not opened.",
    ),
    (
        Caution("lap without times", file="lap.gpx"),
        (
            "lap.gpx: its line has no times. If it is a drive of this very job, ground missed along the edge does not "
            "show."
        ),
    ),
    (
        Caution("lap of this job", file="lap.gpx"),
        (
            "lap.gpx: this outline was driven in the course of this very job. That goes round in a circle: nothing can "
            "be told missed at the edge, and nothing is proven. A lap of another day, or an outline that was drawn, "
            "can."
        ),
    ),
    (
        Caution("lap of another day", file="lap.gpx", day="2026-05-12", clock="07:40"),
        (
            "lap.gpx: this outline was driven or walked on 2026-05-12 at 07:40, not in the course of this job, so "
            "ground missed along it shows. It lies as far inside the true edge as that way kept from it: say "
            "field.grow."
        ),
    ),
    (
        Caution("shapes inside", file="plan.dxf", count=1),
        "plan.dxf: 1 shape(s) drawn inside another were taken as holes in it, which are not to be sprayed.",
    ),
    (
        Caution("fields undrawn", file="TASKDATA.XML", names=("East", "West"), more=4),
        "TASKDATA.XML: no boundary is in it of East, West and 4 more.",
    ),
    (
        Caution("no-spray taken", file="TASKDATA.XML", kinds=(("pond", 1), ("tree", 2))),
        "TASKDATA.XML: areas in it were taken as not to be sprayed (1 pond, 2 tree).",
    ),
    (
        Caution("rows of no length", file="boom.csv", lines=(3, 4, 5, 6, 7, 8, 9, 12)),
        "boom.csv: rows that go on and off at the same moment were left out (line 3, 4, 5, 6, 7 and 3 more).",
    ),
]
"""Caution and its sentence in metric units."""


def sentences(one):
    """Sentences of what a log or an outline cautions of, in metric units."""
    return texts(one.cautions, "metric")
