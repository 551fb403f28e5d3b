"""Task data of ISO 11783-10: what a terminal logged of a task, and the fields it knows.

``files`` finds the parts, ``binary`` decodes one time log, ``devices`` and ``task`` read the index, ``states`` and
``clock`` make switches and times of what was logged; ``log`` joins them to a track log, ``fields`` to outlines.
"""
