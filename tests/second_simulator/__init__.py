"""A second simulator of spray jobs, for judging: no code of the package or of the first one is in it.

Fields, drivers, receivers and the truth on the ground are made by its own means from what is known of them; the audit
is given only the files that a logger, a switch and an outline leave. Lengths are metres, times seconds, angles radians,
in a plane of its own (east, north). What the numbers rest on stands beside them: statistics of static and moving
receivers where there are such, else "common practice, no source".
"""
