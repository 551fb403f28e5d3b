"""The job: what a person says of one finished spray job.

In: a job file or its keys. Out: a ``Job`` with settings in SI units and everything read that it names.
May touch: ``read``.
"""
