"""Sensing: calibrations.

Calibrations: `calibration_budget.py` works a comparison out (GUM, part by part; classes of sensors in `CLASSES`),
`calibration_bounds.py` has the most that one comparison may correct, a row per role (`BOUNDS`), `calibrations.py` puts
the newest in force and `recalibrated.py` says in conditions what they rest on. A correction of the reservoir's probe
shifts what its watchers heard: it is no fall of the liquid.
"""
