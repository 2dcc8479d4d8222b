"""The daemon: a disk or a part that hangs.

The judge never waits for the disk for longer than a quarter of a second: `judge/writer.py` commits, the judge goes on.
Entries that happened by themselves wait in order; a record under way is taken out of the station again and folded in
once it is on disk, as at a start. Pictures say `unsaved`. A journal that refuses for 10 s or hangs for 30 s adds the
condition `store`, unknown: whoever wanted to hold the station couldn't; one that isn't under its name any more adds it
at once. Without any journal (`daemon/unkept.py`) the station is watched, and the assembly is made anew once the store
can be used. A start opens the journal in a thread of its own (`daemon/opening.py`): a disk that hasn't answered after 2
s is such a store, and the next assembly is handed what comes of the opening. `daemon/watch.py` says what is wrong with
the store and which part makes no progress; that stops the watchdog's food. A bus that is stuck in a read doesn't: its
points are bad and its alarm rings, and a restart would cost the others. The publisher keeps its cursor and memory
behind its back (`Behind`): a disk that hangs means repeats after a restart, no more.
"""
