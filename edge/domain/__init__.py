"""What Warmwell thinks: values and times in, values and drafts of journal entries out.

Theory of operation. Nothing here waits, asks the time, reads a file, starts a thread, keeps a global or writes a log.
The same station therefore runs live, in the demo and in a replay; only clock and source of the readings differ. `Now`
(entries.py) is handed in with each call and bears both times: durations and delays run on the monotonic one, so a clock
step can't raise, clear or delay an alarm; calendar duties run on the wall's, by dates that can be relied on (dates.py).

The packages by subject, as a reading is used (which may import which: tests/unit/repository/test_layers.py):

    sensing   raw number -> sample -> reading: may it be believed?
    heat, water   what the readings mean: warm enough, when it will be, a draw, a leak, a filter's load
    doubts    points that can't all be right
    records   what people recorded, and what it still binds
    alarms    what a person has to be told, once, with cause and advice
    words     what all these say (messages.py: ids and values), in a language and a station's units
    station   puts these together: conditions, the verdict, the entries

maths holds statistics that several of them use. Beside the packages stand the modules that adapters and simulators share:
readings, roles, entries, contracts, errors, quantities.

Entries are outcomes, so that a later version never judges history again: the state after a restart is a fold over them.
Unknown is never treated as fine: what can't be judged is `unknown`, with the reason, and a station is ready only where
every condition is met.
"""
