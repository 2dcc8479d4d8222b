"""A copy of a station on another disk, and the station made of it again.

Theory of operation. A backup is a folder (folder.py) in which no file is ever changed: each is written under another name, synced, read
back, and renamed; then the manifest, which lists the files that count with their digests, takes the place of the one before; only then
files that it doesn't list go. Whatever ends that in the middle, a stick that is pulled or a full disk, the backup of before is whole.

The journal is copied entry by entry, as the bytes that were hashed, in segments (segments.py): a segment that is full is never written
again. Readings are copied by groups of pages of one state of their file (pages.py), each group only where it has changed. People, the
station file and what stands beside it are small and copied whole where they have changed (files.py). making.py does all that while the
station runs; the judge waits for none of it.

checking.py looks a backup through: every digest, and the chain from the first entry to the head. restoring.py does so first, and makes the
store anew of what it found. The restored journal goes on above any seq that the board before can have told, and says why (head_note.py).
"""
