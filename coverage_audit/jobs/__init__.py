"""The job: what a person says of one finished spray job.

In: a job file or its keys. Out: a ``Job`` with settings in SI units and everything read that it names.
May touch: ``read``.

A new key is one row in ``keys`` (its check, the field of the settings that it fills, its unit, words for
people) and that field, whose default is the key's. Keys that must fit one another meet in ``boom`` and ``rate``.
"""
