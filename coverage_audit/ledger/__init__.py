"""The ledger of a season: what the jobs on one field add up to, and where skips come from.

In: finished audits as records. Out: figures by field, product and machine. May touch: nothing outside.
"""
