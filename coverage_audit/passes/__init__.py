"""How the field was driven: the diary of the job, passes, steering, switching, causes.

In: the boom's way and the ground. Out: passes and what they missed.
May touch: nothing outside; never ``rate`` or ``accuracy``.
"""
