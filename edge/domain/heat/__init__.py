"""Is the liquid warm enough, when will it be, how long does it stay, and what of its heat reaches the basin?

Theory of operation. What is needed follows from today's room: the basin sees T - f (T - Tcold), so the reservoir needs
(Tmin - f Tcold) / (1 - f) (balance.py). The condition is met at max(needed, set point - band), held for two minutes,
and ends below max(needed, set point - 2 bands) (reservoir.py). Each formula names its source in its module.

The probe is not the liquid. probe.py hears it once: noise, steps, slips, averages of a quarter of a minute with their
slopes; heating, cooling and cycles watch it from marks of their own. believed_liquid.py averages the noise away and
reckons with the lag: a fall beyond what a covered vessel can cool ends READY at once, until nothing has pointed to it
for a minute; one reading beyond its noise does, for as long as it stands, since a probe that lags shows little of a
fall at first. The lag is taken from what probes' lags are: a heat-up can't tell it from the wall's. A room that falls
is taken to be ahead of its point. No reading can tell of the seconds before a fall is beyond the noise, nor of cold
liquid in a layer below the probe, which reads as an open lid does. After a recorded top-up READY therefore waits: for
the probe's rise (as long as cold liquid lies below, the heater warms that first), for a cycle, or for half an hour.

A cycle takes the liquid away and brings it back colder (cycle.py). With a flow meter it is recognised when its water is
drawn (95 of 100 within half a minute, all within four); by the probe alone after about one minute in the median, within
five in 95 of 100, within eight in a large heel that cools slowly. Cold liquid poured in passes for a cycle for about
four minutes at most.

The time to temperature is a mixture of weighted hypotheses about walls, lags and losses, each with a Kalman filter for
what is linear (hypothesis.py, warmup_fit.py), begun from the volume and from the station's own heat-ups (prior.py).
Small deviations of one sign add up to a jump of the rise: a lid opened or closed; what would leave less than half of
the power is a disturbance. What the model leaves out shows in the station's earlier forecasts of this heat-up: they are
held against what came, and widen or narrow the interval (warmup_told.py), whose later end has room for a lid still to
be opened and for walls not felt yet. crossing.py turns the probe's way into the time at which the averaged condition is
met. On harsh plants the first half hour is still told too narrowly: what is missed there is the outer wall. After a
trip cooldown.py, by the fit of cooldown_fit.py, tells how long the liquid stays above what the room needs.

A thermostat whose trough lies below what the room needs (thermostat.py) makes READY come and go with its rounds: it is
true while it lasts, since a cycle begun then gets a warm basin. `reservoir_cold` comes once and stays until the liquid
gets a band beyond what is needed; each entry says which set point would do.

Transfer loss. f = (liquid - basin) / (liquid - Tcold), Tcold being the room, or by `supply_share` a mix with the
supply's water. Without a basin point the rule of the station file holds, never less than 4/19, or what it says was
measured. With one, each transfer is measured (station/parts/basin.py) and transfer_loss.py says what may be relied on: f goes
below the rule once three first cycles of their days agree, at the upper end of its interval, the probe's own
uncertainty included (0.3 K where nothing is stated); a middle value above the rule counts at once. The label's maximum
is judged with the low end. Later cycles find a basin still warm and are kept apart: they can make f greater for what is
needed and smaller for the label's maximum, never the other way. An equipment change, or a calibration of either probe,
ends what was learned. Without a room point f is measured against the basin's own probe at rest, never against the
declared coldest room.

How right all this is, is measured by tests/bench: heating, cooling, cycles, transfer, truth, untold.
"""
