"""Water: what is left of filters.

- What is left of a filter is `filter_life.py`'s: the four blocking laws over the litres, each with a walk for dirt;
  `filter_pair.py` lays two stages over one another, which the dirt of the day doesn't touch. `filter_train.py` keeps
  their points and the gauges' zeros.
- Water changes: a law may have changed at one of a few places on the way (`CHANGES_AT`), or change ahead; a burst of
  dirt is a jump of which the slope knows nothing, and more of them are reckoned with. How much room that takes grows
  with what was seen to change.
- `python -m tests.bench.filters` draws lives in steady water, `--blind` without a water thermometer, and `--hard` lives
  of `simulators/physics/hard_filters.py`: bursts, laws that change, zeros that drift and seasons at once, which has
  goals (exit code 1), then each alone. Where laws change and nothing else does (`law alone`), a change still ahead at
  half the life is outside of the interval too often.
"""
