"""Telling the world by MQTT: each entry in order, and what the station looks like now.

Theory of operation. The journal is the queue (feed.py): a cursor stands at the highest seq up to which everything was
confirmed, so a broker that is down for a week loses nothing, and what comes twice is recognised by (station, seq). What
is retained (retained.py) is merged: an alarm's state and the verdict go at once, the rest at most once in five seconds.
The station takes no orders by MQTT. It reads back its own `node` topic, to see that what it says arrives and stands
there, and its own `head`, to say so where that lies beyond the journal (chain.py).

Each entry and `head` bear `journal` (the first 16 hex digits of entry 1's digest) and their own `digest`, `node` the
former (null before the first entry). They are read from the store when they are sent, so a repeat is the same bytes.
One thread talks (link.py); cursor and memory are saved behind its back (`Behind` in memory.py), so a disk that hangs
means repeats after a restart, no more. troubles.py has a sentence for each thing that can go wrong; listen.py shows
what a facilities system would see, visit.py what is retained and left of things that are gone.

What is told stands in one document for others, asyncapi.py, made by schema.py from the TypedDicts of edge/snapshot.py,
edge/domain/entry_bodies.py and shapes.py; deploy/mqtt.md says it in prose. The station tells only what is in it: tests
hold every message of the simulated days against it, and find what a message has and the document hasn't.
"""
