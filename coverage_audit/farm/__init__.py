"""The farm's folder: what is read of it, and what keeping a field or cutting a day adds to it.

In: a farm folder, and files to add. Out: facts, and files as {name from the folder: content}. May touch: the files
that are read.
"""
