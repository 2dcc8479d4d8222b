"""What the station decides on the seven simulated days, as digests: a change of structure leaves each byte as it is."""
