"""Days at the invented Harbour Lane Day Clinic: physics, people, station file and recording of each."""
