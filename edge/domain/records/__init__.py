"""Records: what holds now, and which date it has.

`Book` (`edge/domain/records/book.py`) is the one place that answers it. Facts stand in the order of the journal. What
binds (hold, failed test or check, opened clean side, declared work, power-up) ends only by what comes after it in that
order, and isn't dated before it; what meets a condition does so by its date. A correction that is corrected gives back
what it took (`_recount`); who may, goes by what the chain restores (`_takes_ready` in `counting.py`). `holding.py` goes
through holds, corrections and releases as they came: which holds stand, and which releases answer for what stood behind
them. What somebody saw (`seen.py`) is unmet until somebody sees the opposite. `edge/domain/dates.py` gives dates:
nothing stored is re-dated, what is read from it is. A claim of a person never lies after its recording, and keeps its
distance from it when the clock turns out to have been wrong (`claimed`). A fact with a doubtful date meets nothing and
its condition says so; what binds has the earliest date that it can have (`Dates.between`). When the settings change,
the judge asks the station under the old ones what is owed (`owed`) and tells the new one, which keeps what it no longer
asks for (`dropped.py`); at a start the old ones are those of the journal's newest `settings` entry. A snapshot and the
entries add up to the same: `tests/unit/domain/records/test_facts_in_order.py` runs both.

A bus of kind `entered` has no hardware. A record `entered_reading` that names one of its points is that point's sample,
of the moment at which it was read (`edge/domain/records/entered.py`): good, published with `by` and `seq`, until
`stale_after` (two periods where nothing is set), then `not_entered`. A value needs its unit. What a reading of the
second decides (draws, warm-up) is never fed from it: such a role's condition is met `by_eye`. A role that has no point
at all is read by eye through `[not_fitted]`, where `BY_EYE_ROLES` has it: a condition looks at it, else its reading
doesn't count.

`edge/domain/records/forms.py` has one form a record, as data: command line, API (also its OpenAPI document) and station
read the same. `refuse()` is for the borders: one sentence, nothing recorded. The station never refuses a form, since a
replay or an older client may send it: `counting.judge()` says why a record doesn't count here (form, time, order,
nothing that looks at it). `counting.stands()` tells what takes READY away all the same; its body then has `"stands":
true` beside `"counts": false`. `daily_tests.py` has what a daily test came to, `duty_conditions.py` the conditions that
rest on records. A new key goes into the form first.
"""
