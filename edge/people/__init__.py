"""Who may do what at a station: people, their sign-in codes, sessions, tokens for programs.

Theory of operation. people.db stands in the [keep] folder beside the journal and is no part of it: no export, replay or topic reads
it, and no fault of it stops a start (file.py, store.py). Then nobody can sign in, and that is said. While nobody is in it, a station that
listens on its own computer only takes the name that is typed, as before.

A code alone says who somebody is, as nobody types a name with gloves on. It has a part that finds the person's row, and a part that
is kept hashed (codes.py, hashing.py); who is added, or gets another code, sees it once (roster.py). Wrong codes are slowed and lock an
address out (trying.py, throttle.py). What was refused becomes `access` entries, one for an episode and not one for a try (episodes.py).
access.py is what the API asks; which role may record what stands in edge/domain/permits.py.

Times are monotonic within a boot of the board, as its wall clock may be wrong: a session of another boot is over (sessions.py).
"""
