"""What a station has to outlast, each with its tests: the short forms run with all others, the long ones by `python -m tests.endurance`."""
