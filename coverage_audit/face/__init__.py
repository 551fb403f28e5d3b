"""The Python face, offered as ``coverage_audit.audit`` and the like: jobs, audits and comparisons for a notebook.

In: job files, frames and arrays. Out: audits with their findings as frames, papers in a folder. May touch: pandas,
geopandas, the files that are read and written.
"""
