"""The job sheet: what a half-filled job says and lacks, and what its logs show, as facts for the page.

In: text of a job file, logs, outlines, places on a map. Out: facts, and the text of job files and outlines.
May touch: nothing outside.
"""
