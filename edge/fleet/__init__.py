"""The fleet: all stations of an archive in one list, for whoever looks after forty or four thousand. `warmwell archive serve`.

Theory of operation. It only reads: a role that may select and no more, in sessions that refuse to write. What the list needs of a station
is one row of the table `summary`, which the archive's worker writes in the same transaction as what it sums up (edge/archive/summary.py,
store.py). The list is read along an index in the order asked for, and goes on behind the last row that was told (asking.py): no page is
slower than the first. A station's own page reads what it said last, and its entries.

What isn't heard any more is never shown as ready: whether a station is silent is judged when it is asked for, from the time until which
its verdict held, so also where the worker itself is away. The page is edge/web/fleet/, on the modules, looks and words of the station's.
"""
