"""A day's logs cut into jobs: which ground was sprayed when, by which machine.

In: logs, machines, kept fields. Out: jobs with their times, visits that were none, ground that nobody knows.
May touch: nothing outside.
"""
