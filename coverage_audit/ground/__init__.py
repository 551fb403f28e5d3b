"""What was swept: target, boom lines, pieces, partition, second count and findings.

In: the boom's path and state, the field. Out: faces with their visits, strips and patches. May touch: nothing outside.
"""
