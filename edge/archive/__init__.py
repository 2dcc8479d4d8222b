"""One archive for many stations: what they tell by MQTT, kept in PostgreSQL. `warmwell archive`.

Theory of operation. One program hears every station of its sites (worker.py) and writes what it hears in batches: one transaction
each (store.py), and only after that it acknowledges to the broker, by hand and in order. So a kill at any moment costs repeats and no
entry. A second one may stand by: who holds the database's advisory lock hears, the other waits for it.

An entry's key is (station, journal, seq): a replaced card begins a new journal and hides nothing. The message's bytes are kept as they
came; jsonb stands beside them for questions, and is null where PostgreSQL has no word for it. What can't be kept at all is set aside
with the reason, never dropped. The same key with other bytes is no repeat: it is set aside, and told.

What is there of each journal is a set of ranges, kept in the same transaction (`heard`). From it the archive says retained receipts, and a
station says again what lacks (edge/mqtt/receipts.py): a broker's own memory is relied on for nothing. Order of arrival doesn't matter:
another verb walks each journal's chain of digests afterwards, and goes on where it stopped (verifying.py).

The tables are made by numbered steps (migrations.py); who writes may insert entries, and change or delete none.
"""
