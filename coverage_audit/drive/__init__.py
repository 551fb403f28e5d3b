"""How the machine moved: plane, track, motion and boom.

In: fixes and settings. Out: the boom's path and state in plane metres.
May touch: nothing outside; degrees stay in ``plane``.
"""
