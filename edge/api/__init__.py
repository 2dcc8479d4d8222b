"""The page and the API, for people and programs on the station's own network.

Theory of operation. Answers are made of the newest picture (edge/snapshot.py), aged to the moment at which it is shown
(picture.py), and of the journal; a record goes to the judge and is answered once its entry is on disk. border.py is
what every request passes first and every answer last. Blocking reads of the store run in two threads (readers.py); one
pump feeds the live stream of all clients, each of which keeps only its place (stream.py). Who asks, and whether they
may, is asked of the people's part, in threads of its own, before anything is shown or kept (people.py). Every refusal is
a problem document with one clear sentence (problems.py). parts.py says what the API needs of the other parts, as
Protocols: it imports none of them.
"""
