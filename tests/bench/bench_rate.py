"""Time of the rate stage on one simulated 12 ha job at 10 Hz, against the exact partition in the same run.

Run: python tests/bench/bench_rate.py
"""

import dataclasses
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

from bench_audit import benchmark_job, best

from coverage_audit.jobs.settings import RateSettings
from coverage_audit.papers.figures.rate_picture import RatePicture
from coverage_audit.recipe import audit as recipe
from coverage_audit.recipe import drive as drives
from coverage_audit.recipe.rate import laid_spray, with_rate


def main():
    _, _, spray_job = benchmark_job(12.4)
    rated = RateSettings(target_l_ha=128.0, flow_l_min=20.0)
    spray_job = dataclasses.replace(spray_job, settings=dataclasses.replace(spray_job.settings, rate=rated))
    plane = drives.job_plane(spray_job)
    drive = drives.drive_of(spray_job, plane)
    ground, _, _ = drives.ground_of(spray_job, plane, drive)
    audit = recipe.audit_job(spray_job)

    def partition():
        again = drives.drive_of(spray_job, plane)
        recipe._counted(again, ground, 9.0)

    exact, _ = best(partition)
    alone, _ = best(lambda: recipe._counted(drive, ground, 9.0))
    stage, found = best(lambda: with_rate(audit, drive, ground, laid_spray(spray_job, drive, ground, audit.volume)))
    cells = found.rate.cells
    drawn, picture = best(lambda: RatePicture(cells, 128.0))
    print(f"from track arrays to partition   {exact:.3f} s (partition alone {alone:.3f} s)")
    print(f"rate stage at {cells.cell_m} m           {stage:.3f} s, ratio {stage / exact:.2f} (wanted: below 1)")
    print(f"cells {len(cells.row)}, closure {found.rate.closure:.9f}")
    page_mb = len(picture.data_uri) / 1e6
    print(f"rate picture                     {drawn:.3f} s, {page_mb:.2f} MB in the page (wanted: at most 0.3)")


if __name__ == "__main__":
    main()
