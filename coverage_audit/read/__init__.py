"""Reading: bytes in, frozen records out; refuses with :class:`InputError`.

In: the bytes of one file. Out: fixes, boom times, polygons in degrees, a saved result; every record that
cannot be used is counted. May touch: reader libraries and, in ``source`` alone, the disk.
"""
