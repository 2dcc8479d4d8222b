"""Points that bear witness against each other: a believable number of one is doubted because of what others say.

Theory of operation. table.py is the one table: what is true together, after how long a point is doubted, until when,
and what to do; deploy/reference-alarms.md prints it. reading_checks.py, rooms.py and water_checks.py hold readings and
finished draws against it, register.py keeps who is doubted, and the station's parts make what rests on a doubted point
unknown. A doubt is no alarm. A row about readings marks its points as `contradicted`; the others doubt only what the
draws showed (`doubts_reading=False`). A row that begins or ends to be so is an entry `contradiction`.

What a row looks at has a module of its own: rest.py the pressures at rest, unseen.py pressures that fall apart while
the meter shows no draw, silent_draws.py falls of the supply that no draw explains, draws.py finished draws, noise.py a
point that is stiller than its own noise, together.py points that all stop at one time, basin.py a basin that is colder
than its room. liquid.py holds the reservoir's probes against time and the heater's outlet: levels of ten seconds
(levels.py), jumps (jumps.py), turns within seconds (restless.py), a thermostat's swings (swings.py), a liquid that
nothing heats (unheated.py).

The adversary of these is a step of a probe's offset. Their innocents are what liquid does: cycles, pourings, lids,
layers, a probe that is pulled out. Those must raise nothing, so each test of a finding has its look-alikes beside it.
"""
