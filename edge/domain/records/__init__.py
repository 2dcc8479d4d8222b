"""What people recorded: which of it holds now, and which date it has.

Theory of operation. `RecordBook` (book.py) is the one place that answers. Facts stand in the order of the journal. What binds
(a hold, a failed test or check, an opened clean side, declared work, a power-up) ends only by what comes after it in
that order, and isn't dated before it. What meets a condition does so by its date. A snapshot and the entries after it
add up to the same.

Corrections. A correction that is corrected gives back what it took (`_recount`). Who may correct goes by what the chain
of corrections restores (`_takes_ready` in counting.py). holding.py goes through holds, corrections and releases as they
came: which holds stand, and which releases answer for what stood behind them. What somebody saw with their own eyes
(seen.py) is unmet until somebody sees the opposite. Entries that the journal lost make the station wait for a person
(losses.py).

Dates. Nothing stored is ever re-dated; what is read from it is (edge/domain/dates.py). A claim of a person never lies
after its recording, and keeps its distance from it when the clock turns out to have been wrong (`claimed`). A fact with
a doubtful date meets nothing, and its condition says so; what binds has the earliest date that it can have
(`Dates.between`).

Settings that change. The judge asks the station under the old settings what is owed (`owed`) and tells the new one,
which keeps what it no longer asks for (station/dropped.py). At a start the old settings are those of the journal's
newest `settings` entry.

Forms. forms.py has one form a record, as data; command line, API (also its OpenAPI document) and station read the same.
`refuse()` is for the borders: one sentence, nothing recorded. The station never refuses a form, since a replay or an
older client may send it: `counting.judge()` says why a record doesn't count here (form, time, order, nothing that looks
at it). `counting.stands()` tells what takes READY away all the same; its body then has `"stands": true` beside
`"counts": false`.

Readings by eye. A bus of kind `entered` has no hardware: a record `entered_reading` that names one of its points is
that point's sample, of the moment at which it was read (entered.py). It is good, published with `by` and `seq`, until
`stale_after` (two periods where nothing is set), then `not_entered`. A value needs its unit. What a reading of the
second decides (draws, warm-up) is never fed from it: such a role's condition is met `by_eye`. A role that has no point
at all is read by eye through `[not_fitted]`, where its row of ROLES says `by_eye`; a reading that no condition looks at doesn't
count.
"""
