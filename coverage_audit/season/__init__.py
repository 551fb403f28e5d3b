"""Many jobs: what is up to date, who audits the rest, and the season's ledger.

In: a farm's folder. Out: each job's papers and saved record beside it, a ledger of the season. May touch: processes
of its own, a cluster that it is told of, and the farm's folder by way of `files`. It catches what a job raises, so
that no job stops another.
"""
