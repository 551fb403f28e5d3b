"""Jobs side by side: what differs, and whether by more than chance.

In: finished audits as records. Out: differences with their intervals. May touch: nothing outside.
"""
