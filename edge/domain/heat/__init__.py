"""Heat: cold and what explains it, and the transfer loss.

- A cycle is recognised by the probe's fall, sooner where water was drawn (`cycle.py`). It masks `reservoir_cold` for an
  hour while the liquid is away, and while it is heated again, for at most three quarters of the warm-up limit. It
  doesn't mask `not_heating`. With a flow meter it is recognised when its water is drawn (95 of 100 within half a
  minute, all within four); by the probe alone after about one minute in the median, within five in 95 of 100, in a
  large heel that cools slowly within eight. The bench measures it. Cold liquid poured in passes for a cycle for about
  four minutes at most.
- What the liquid can be believed to be (`believed_liquid.py`): noise is averaged away, and a fall beyond what a covered
  vessel cools ends READY at once, until nothing has pointed to it for a minute. One reading beyond its noise is enough:
  a probe that lags shows little of a fall at first; it ends READY for as long as it stands. How far it is behind goes
  by what probes' lags are, not by what heat-ups taught: they can't tell a lag from the wall's. A room that falls is
  taken to be ahead of its point, too. What can't be known: the seconds before a reading is beyond its noise; and cold
  liquid in a layer below a probe, which reads as an open lid does. `tests/bench/untold.py` says of each such instant
  whether any judge could have known, by running the day again without the pouring. The layers are a hard opponent: all
  that is poured in sinks at once, unmixed, and only 8 W/K pass; a bucket poured from above mixes by its own swing, a
  hose that trickles in below may lie like that.
- A record `disinfectant_top_up` keeps READY back until the probe has been seen to rise (as long as cold liquid lies
  below, the heater warms that and not what is above it), a cycle has returned the liquid, or half an hour is over. It
  begins no new reuse life.
- When that will be there (`crossing.py`): the forecast gives the probe's way, and the mean is followed through the
  readings to come.
- After a trip, cold, not heating and late are its consequences. At rest none of them is raised.
- Before the first case cold is no alarm while it can still be in time: heating need not have begun yet, or ends before.
  Where it can't, `late_for_first_case` says so, cold is its consequence, and `not_heating` waits for something new (it
  was heated, and is no more).
- An outlet that isn't the heater's explains that the first case is late and the daily test not done; the heater's, what
  is cold.
- `not_heating` is the cause of a cold reservoir. An alarm of cold that came before its cause, and that nobody has
  answered, becomes its consequence when the cause is announced.
- A set point below what the room needs: the verdict follows the liquid, so it changes with each of the thermostat's
  rounds, and each entry says which set point would do. READY is true while it lasts, since a cycle begun then gets a
  warm basin. `reservoir_cold` comes once and stays, also through cycles, until the liquid gets a band beyond what is
  needed.
- A probe is heard once (`probe.py`): its noise, its steps, its slips, and averages of a quarter of a minute with their
  slopes. Heating, cooling and cycles begin anew at different moments; each watches it from its own mark on.
- `python -m tests.bench.heating --hard --plants 60` measures the expected time on plants of
  `simulators/physics/hard_plants.py`: moderate ones with mains, lid and slow wall at once, a mix with one hardship or
  two, each alone, and harsh ones with all. The model has an outer wall as a second one, and power that is pulled back
  to its mean (`hypothesis.py`). What it leaves out shows in the station's own forecasts of this heat-up: they are held
  against what came, and make what is told wider or narrower (`warmup_told.py`). The later end has room for an opening
  still to come (`OPENING_K`) and for walls not felt yet (`HIDDEN_SHARE`). Small deviations of one sign add up to a jump
  of the rise: a lid opened or closed (`_jumps`); what would leave less than half of the power is a disturbance. Harsh
  plants are still told too narrowly in the first half hour: what is missed there is the outer wall.
- After a trip the time left above what the room needs is `cooldown.py`'s, by the fit of `cooldown_fit.py`; `python -m
  tests.bench.cooling` says how right it is on 200 trips of plants that nobody tuned for, from the instant of the trip
  on.
- `python -m tests.bench.cycles` tries all this on 100 busy days of plants that nobody tuned for; what counts as true
  and as right stands at its head.

- f = (liquid - basin)/(liquid - Tcold). Without a basin point the rule of the station file holds, never less than 4/19,
  or what it says was measured. With one, `basin.py` measures each transfer (an entry `transfer`) and `transfer_loss.py`
  says what may be relied on: f goes below the rule once three first cycles of their days agree, at the upper end of its
  interval, with the basin probe's own uncertainty (0.3 K where nothing is stated); a middle value above the rule counts
  at once. The label's maximum is judged with the low end.
- Later cycles, which find a basin still warm, are kept apart: they can make f greater for what is needed and smaller
  for the label's maximum, never the other way. An `equipment_change`, and a calibration of either probe, ends what was
  learned.
- Tcold is the room, or by `supply_share` a mix with the supply's water. Without a room point f is measured against what
  the basin's own probe showed at rest, never against the declared coldest room.
- `python -m tests.bench.transfer` tries this on 100 stations.
- `python -m tests.bench.truth` searches for a READY that is wrong: days composed at random of sensor faults, records,
  clocks that step and restarts, liquid poured in, a lid left open, further cycles, over a plant whose truth is known;
  some of them over the real journal on disk, whose files are lost, cut, or put back from a copy, and of stations that
  lack a meter, a room's probe or a gauge, or have two basins. What could have been known, and within what time, stands
  in `tests/bench/truth_oracle.py`. `--shrink SEED` drops ingredients until only those are left that make a wrong;
  `--smallest` does so for each new kind; `--quick` runs three times as many days, with a coarser time to temperature.
  25 of its days are among the tests; kinds that are known and open stand in `OPEN` of `tests/unit/bench/test_truth.py`.
"""
