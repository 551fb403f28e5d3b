"""The recipe: calls the stages in order, checks the closing sums, returns the audit.

In: a ``Job``. Out: an ``Audit`` (or a touch-up plan of one). May touch: nothing outside.
It is not called ``audit``, as that is the function of the Python face.
"""
