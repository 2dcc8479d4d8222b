"""What draws of water show: pressure and flow, leaks, the supply's capacity, and how much the filters will still let through.

Theory of operation. Water that flows begins a draw (draws.py), and the draw is judged by its steady part only; the
static pressure counts between draws only. What a finished draw showed is an entry, stands for as long as the station
file says, and is all that the figures below are rebuilt from (draw_history.py). Draws too short to be steady are kept
apart (short_draws.py). Without a flow meter water is taken to pass where the filters take pressure (inferred_flow.py):
that it flows is seen, how much is not.

Leaks (leak_signs.py) show as litres that pass while nothing draws, as a least flow of the day that never is zero, or as
pressure that bleeds away along an exponential in a stopped line. Supply (supply.py): capacity by the flow-test relation
Q ~ (Ps - P)^0.54, and the time of the fill that the machine draws most often, with its trend.

Filters. While nothing flows all taps stand at one pressure, so what they differ by at rest are their zeros, and these
are taken off the drops (filter_train.py). A drop is scaled to the reference flow and temperature: laminar through the
medium, so viscosity times flow, and the housing's share with the square of the flow (normalise.py). What a stage will
still let through follows the four classical blocking laws over the litres, each with a random walk for the dirt of the
day (filter_life.py). Two stages in a row see the same water: filter_pair.py lays them over one another, which the dirt
of the day doesn't touch.

Water changes. A law may have changed at one of a few places on the way (`CHANGES_AT`), or change ahead. A burst of dirt
is a jump of which the slope knows nothing, and more of them are reckoned with. How much room that takes grows with what
was seen to change. Where laws change and nothing else does, a change still ahead at half the life is outside of the
interval too often: `python -m tests.bench.filters --hard`. usage.py turns litres into days by this station's own week.
"""
