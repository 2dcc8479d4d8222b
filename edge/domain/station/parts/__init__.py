"""One module, or package, for each aspect of a station: all that is known of it and all that is said of it.

Theory of operation. `edge/domain/station/part.py` is the interface, `edge/domain/station/build.py` makes the parts and gives their order.
A part hears the good readings of its roles, is told what happened, lets time pass, and has conditions, alarms, estimates and entries of
its own. It sees the station through a view, and never another part: what it asks of one is an argument when it is made, so who asks
what of whom stands in one place. What it changes in answer to a reading it tells as an entry, and takes back from the journal after a
restart; what it only derives it derives again.

A part that has grown is a package: `part.py` hears and raises, `condition.py` judges and says why, `estimates.py` computes; the reservoir's
alarms have `alarms.py`.
"""
