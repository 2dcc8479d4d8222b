"""What a station's points would truly read: reservoir, water, what happens to them (events.py), put together in world.py."""
