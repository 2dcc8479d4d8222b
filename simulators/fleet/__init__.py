"""Many stations at once, as a broker and an archive see them: `python -m simulators.fleet --stations 1000 --broker HOST:PORT`.

Theory of operation. No physics here and no judging: days.py tells what becomes an entry in a station's days (cycles that crowd the morning,
the daily test, an alarm, filters that load up and are changed, a night without power), station.py puts each into a chain of digests and
keeps the retained topics, sending.py gives each station a real connection with its last will. One process and one thread serve all.

Unlike the other simulators it is made of the daemon's own pieces wherever bytes are concerned: topics, shapes, the chain, the pace of
retained topics, what a receipt asks for (edge/mqtt, edge/store/chain.py). So each message has the form that a station's has. What it leaves
out: points and estimates, repeats of the last 24 h at a broker that doesn't know a session, TLS.
"""
