"""How sure the areas are: the receiver's error drawn again and again.

In: track, boom state, boom lines, gaps between passes. Out: ranges and chances.
May touch: nothing outside; never ``passes`` or ``rate``.
"""
