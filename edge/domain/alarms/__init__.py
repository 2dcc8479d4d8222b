"""Alarms: what a person has to be told, once, with cause, consequence, response and time to respond.

Theory of operation. States and transitions are those of IEC 62682 / ISA-18.2, as one table (states.py). In front of it
stand delays and deadbands: an alarm needs its value strictly beyond the limit for its on-delay, and both delays run on
monotonic time. The deadband alone would hold one reading of noise, so the readings since it went beyond must bear it
out together (`Band.is_borne_out`). A condition that holds for four fifths of the time over a few on-delays is an alarm
too, though it pauses.

catalogue.py has a row for each alarm; its delays and deadbands are starting values of common practice, its priority follows
from consequence and time to respond, and `[alarm.<id>]` in the station file tunes them. system.py takes conditions in and
gives changes of state out; answers.py has what people do, unanswered.py what comes when nobody does anything, elapsed.py
time over restarts, performance.py the standards' figures. What
explains a value masks it: a phase (a cycle masks `reservoir_cold` for an hour while the liquid is away, then for at
most three quarters of the warm-up limit while it is heated again; it doesn't mask `not_heating`) or a pause between
draws never becomes an alarm at all.

One cause, one alarm. A consequence is suppressed by design while its cause is present, names it, and is announced when
the cause has ended and it stays. An outlet that has tripped, if it is the heater's, is the cause of cold, not heating
and late; any other outlet of a daily test not done and of a late first case. `not_heating` is the cause of a cold
reservoir; a cold that came before and that nobody has answered becomes its consequence. Points that stop being heard
together are one cause: `bus_lost` of their bus, or of the first bus where it is the whole station (station/parts/sensors.py);
a point that stopped without a word is back once it has been heard for as long as its stale limit. At rest nothing about
cold is raised; before the first case cold is none while it can still be in time. Where it can't, `late_for_first_case`
says so, cold is its consequence, and `not_heating` waits for something new (it was heated, and is no more).
Suppressed by design, too, is what somebody sees to that takes its time: a treatment that is owed while its contact
runs; its cause says until when, and it is announced anew where that breaks off or takes too long.

What returns to normal by itself waits for an acknowledgement, as the standards have it: somebody has to learn of it. A hold that
a person releases doesn't: who releases it answers its alarm (station/parts/hold.py).

No data is no all-clear: what can't be told any more leaves an alarm as it is (`set_condition(…, None)`). One that was there
at the first look of a run stands "since at the latest".

An alarm that has become clearly worse says so, and is announced anew where it was answered (worsening.py). Causes are
messages, without words and units: these are given where a station speaks (edge/domain/words).
"""
