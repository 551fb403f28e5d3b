"""What to do about missed ground: rules, lanes, turns, ways and order.

In: strips and their ground. Out: options and the cheapest order. May touch: nothing outside.
"""
