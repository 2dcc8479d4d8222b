"""What is kept: the journal, every reading, and what can be worked out from the journal again.

Theory of operation. There are three kinds of data, and each has the durability that it deserves.

journal.db holds the entries, in one chain (chain.py), written by the judge alone; an entry is on disk, synced, before
anybody hears of it, and no entry is ever changed. Any thread reads, waits and keeps its position. The open file is
compared with the one under its name (file_watch.py), and the head is noted outside of it (head_note.py): a lost log, an
older copy or a deleted journal is said in a `repair` entry. verify.py says where a chain no longer holds.

Its oldest entries go into closed segments, files of the same table that are never written again (rotation.py), so that a start, and
damage, have to do with a short file. whole.py reads segments and journal.db as one; nobody reads either by itself. A lost journal.db
is begun anew behind the segments that are there.

series.db holds readings, at their full rate, with rollups (series.py). Ten seconds of them may be lost to a power cut: each
batch is on disk in a plain file (tail.py) until those of five minutes go into series.db in one commit.
It is set aside whatever is wrong with it (repair.py), and is what is given up first on a full disk (space.py). Readings
are deleted by age only by a date that can be relied on (dating.py).

Caches (caches.py) hold what can be worked out again: the state that the entries lead to, and readers' positions. They
stand in small files of their own, never in journal.db; a fault in them costs a `repair` entry, never a start.

Cost. A commit costs one sync, of the write-ahead log, whether it keeps 1 entry or 20 (fsync and fdatasync counted in
the running process, SQLite 3 in WAL mode with `synchronous=FULL`); each checkpoint, about one in 400 commits, two more
of the log and one of journal.db. The noted heads (two files) are synced once a second where something was kept, beside
the commit. A saved state costs two.
"""
