"""Reading the sensors: one thread a bus, and nothing that an adapter does reaches beyond its own bus.

Theory of operation. Each bus has a daemon thread, which reads its due points on a schedule without drift and hands raw
values, made into samples by their transducers, to the judge. An adapter may raise anything, return anything, or never
come back: then its points turn bad with a reason, and other buses keep their periods. A supervisor speaks for the
points of a thread that hangs; a thread that hangs in a read can't be ended in Python, so it stays the only one of its
bus. A bus that is lost is tried again after growing pauses. Samples bear the time of the read. Time limits and pauses
run in real time, periods in the clock's.
"""
