"""Papers: words, figures, maps and files for the outside world.

In: an audit, a plan, a comparison. Out: text or bytes. May touch: templates of the package; no other file, no clock.
"""
