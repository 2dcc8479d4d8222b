"""The judge: the one thread that owns the station.

Samples, records, what happens to buses, a reload and the stop reach it through one queue (inbox.py), in the order of
time. It commits through a second thread (writer.py), so that it goes on judging while a disk takes its time. A record
is answered when its entry is on disk; readers get immutable pictures (edge/snapshot.py), which are never fine where the
station can't be asked (picture.py). judge.py says the order of one pass.
"""
