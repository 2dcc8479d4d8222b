"""Points that bear witness against each other.

`edge/domain/doubts/table.py` is one table; `cross_checks.py` holds readings and draws against it, `weighing.py` makes
what rests on its points unknown. A row about readings marks its points as `contradicted`; the others doubt only what
the draws showed (`doubts_reading=False`). What a row looks at has a module each: `rest.py` the pressures at rest,
`unseen.py` pressures that fall apart while the meter shows no draw, `draws.py` finished draws, `short_draws.py` those
too short to be steady. `liquid.py` holds the reservoir's probes against time and the heater's outlet: levels of ten
seconds (`levels.py`), jumps, swings, a liquid that nothing heats. A step of a probe's offset is their adversary; what
liquid does (cycles, pourings, lids, layers, a probe that is pulled out) must raise nothing, so each test of a finding
has its look-alikes beside it.
"""
