"""The daemon of one station: builds and wires the parts, watches them, stops them within five seconds.

Theory of operation. assembly.py is the only place that builds and wires, in the order of what would be missed most:
journal, judge, sensors, then the parts that tell. A part that tells may fail without a word lost; it is stopped and
begun again from where it was.

A disk that hangs. The judge never waits for it for longer than a quarter of a second: judge/writer.py commits, the
judge goes on. Entries that happened by themselves wait in order; a record under way is taken out of the station again,
and folded in once it is on disk, as at a start. Pictures say `unsaved`. A journal that refuses for 10 s or hangs for 30
s adds the condition `store`, unknown: whoever wanted to hold the station couldn't. One that isn't under its name any
more adds it at once. Without any journal (unkept.py) the station is watched, and the assembly is made anew once the
store can be used. A start opens the journal in a thread of its own (opening.py): a disk that hasn't answered after 2 s
is such a store, and the next assembly is handed what comes of the opening.

A part that hangs. watch.py says what is wrong with the store and which part makes no progress; that stops the
watchdog's food. A bus that is stuck in a read doesn't: its points are bad and its alarm rings, and a restart would cost
the others.
"""
