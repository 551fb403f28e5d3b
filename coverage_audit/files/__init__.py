"""Writing a set of papers: the whole set or nothing, over nobody else's files.

In: a folder, and contents by file name. Out: the files. May touch: that folder.
"""
