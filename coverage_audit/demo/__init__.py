"""The built-in job: its files as they ship, and what was really on the ground, beside what an audit finds.

In: an audit of the built-in job. Out: the job's files as bytes, and text. May touch: the files shipped in here.
"""
