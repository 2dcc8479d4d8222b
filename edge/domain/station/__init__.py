"""One station: readings, records and the time in; entries and the verdict out.

Theory of operation. The station hears the samples of one instant, lets time pass, and judges where something changed
(asking.py); the judge moves it through its deadlines. Each condition of readiness is met, unmet, unknown, or met by
eye, with its reason, what it rests on, since when, and when it will mend itself. A condition whose points are doubted,
missing or silent is never met; one whose limit is broken all the same stays unmet. The verdict is READY only where
every condition is met; else it lists what is missing and what to do, in the order in which a person would go about it.

It does so by asking its parts (part.py) in the order of build.py. Each has its conditions, its alarms,
its entries and estimates, and what of it survives a restart. A part sees the station through a view (view.py); what it
asks of another part is handed to it when it is made, and what has happened is told to all.

What changed is an entry: verdict, phase, alarm, draw, heat-up, transfer, contradiction. The state after a restart is
the fold of these entries, so everything that a later verdict needs is in one of them. Within one instant entries keep
one order: what fell silent, the calendar, the phase, the alarms of the reservoir, delays that end, alarms of duties,
the verdict.

Texts are in the units of the station file. No number is shown that the point doesn't bear: what has no value now shows
none.
"""
