"""Simulated jobs whose right decision is known: receiver, source of the boom's state, and whether ground was skipped.

The field is an invented meadow of 1.2 ha; its boom is 9 m wide, the log has one fix a second. A skip is ground as wide
as the boom: the boom off for 40 m in one pass where that was noted, for 80 m where it is remembered, a whole pass left
out where nobody knows.
"""

import dataclasses

import shapely
from simulator.files import to_boom_csv, to_geojson_text, to_gpx_text, to_nmea_text
from simulator.jobs import GUIDED, HAND, Faults, GnssError, Scenario, SwitchHabit, simulate

from coverage_audit import run
from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.jobs.settings import AccuracySettings

PLANE = Plane(PlaneOrigin(-71.25, -45.5))
MEADOW = shapely.Polygon([(0, 0), (128, -6), (138, 86), (5, 92)])
WIDTH_M = 9.0
RECEIVERS = {
    # wandering error as of the class of fix: accuracy.tolerances has the sources
    "phone": (GnssError(white_m=0.05, drift_m=0.9), HAND, 8.6, None),
    "SBAS": (GnssError(white_m=0.03, drift_m=0.35), HAND, 8.6, 2),
    "RTK": (GnssError(white_m=0.005, drift_m=0.0143, drift_time_s=100.0), GUIDED, 8.8, 4),
}
STATES = ("logged", "marked", "remembered", "assumed")
SKIPPED_PASS = 4


@dataclasses.dataclass(frozen=True)
class Situation:
    """One of the jobs; ``skip`` is "clean", "off" (boom off for 40 m) or "left out" (a whole pass)."""

    receiver: str
    state: str
    skip: str
    units: str = "us"

    def __str__(self):
        return f"{self.receiver}-{self.state}-{self.skip}".replace(" ", "-")

    @property
    def demanded(self):
        """Kind of decision that the truth, and what such a log can show of it, demand."""
        if self.skip == "left out" or (self.skip == "off" and self.state != "assumed"):
            return "go back"
        # that nothing was skipped can be said only where somebody told the boom's state
        return "cannot tell" if self.state == "assumed" else "leave"


def table():
    """All 24."""
    return [
        Situation(receiver, state, skip)
        for receiver in RECEIVERS
        for state in STATES
        for skip in ("clean", "left out" if state == "assumed" else "off")
    ]


def simulated(situation, seed=3):
    """The job as it was really driven."""
    gnss, steering, spacing, _ = RECEIVERS[situation.receiver]
    off = (15.0, 95.0) if situation.state == "remembered" else (30.0, 70.0)  # memory is loose: a longer one
    faults = {
        "clean": Faults(),
        "off": Faults(forgotten_m={SKIPPED_PASS: off}),
        "left out": Faults(left_out=frozenset({SKIPPED_PASS})),
    }[situation.skip]
    scenario = Scenario(
        MEADOW,
        heading_deg=88.0,
        sections_m=(WIDTH_M,),
        headland_laps=1.0,
        spacing_m=spacing,
        hz=1.0,
        steering=steering,
        gnss=gnss,
        habit=SwitchHabit(late_on_m=-0.5, early_off_m=-0.5, sd_m=0.4),
        faults=faults,
        seed=seed,
    )
    return simulate(scenario)


def files(situation, seed=3):
    """The files that the logger, the person and the map left, with the job file."""
    job = simulated(situation, seed)
    quality = RECEIVERS[situation.receiver][3]
    track, source = (
        "track.gpx",
        {"logged": "boom.csv", "remembered": "boom.csv", "marked": "marks", "assumed": "assume"},
    )
    if quality is None or situation.state == "marked":
        text = to_gpx_text(job, PLANE, marks=situation.state == "marked")
    else:
        track, text = "track.nmea", to_nmea_text(job, PLANE, switch=False, quality=quality)
    found = {
        track: text,
        "boundary.geojson": to_geojson_text(MEADOW, "Curlew meadow", PLANE),
        "job.toml": _job_file(situation, track, source[situation.state], quality),
    }
    if source[situation.state] == "boom.csv":
        found["boom.csv"] = to_boom_csv(job) if situation.state == "logged" else _remembered(job)
    return found


def _job_file(situation, track, source, quality):
    sure = {2: 'sigma = "0.35 m"', 4: 'sigma = "1.43 cm"'}.get(quality, "") if track == "track.gpx" else ""
    return "\n".join(
        [
            "[job]",
            'name = "Curlew meadow, first pass"',
            'timezone = "America/Denver"',
            "[field]",
            'boundary = "boundary.geojson"',
            "[track]",
            f'files = ["{track}"]',
            "[boom]",
            f'width = "{WIDTH_M:g} m"',
            f'intervals = "{source}"',
            'antenna_ahead = "0 m"',
            "[report]",
            f'units = "{situation.units}"',
            *(["[accuracy]", sure] if sure else []),
            "",
        ]
    )


def _remembered(job):
    """On-times as a person tells them afterwards, each right to within some seconds."""
    head, *rows = to_boom_csv(job).splitlines()
    return "\n".join([f"{head},how,within", *(f"{row},remembered,10 s" for row in rows), ""])


def audited(situation, seed=3, draws=40):
    """Audit of the situation, with few *draws* of what may have been: they are many situations."""
    job = run.read_files(files(situation, seed), "job.toml")
    stated = job.settings.accuracy or AccuracySettings(asked=False)
    few = dataclasses.replace(stated, replicates=draws)
    return run.audited(dataclasses.replace(job, settings=dataclasses.replace(job.settings, accuracy=few)))
