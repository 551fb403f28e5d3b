"""How much went where: volume, flow, surface, tank, nozzles, product.

In: boom lines, flow and volumes. Out: rates and amounts. May touch: nothing outside; never ``passes`` or ``accuracy``.
"""
