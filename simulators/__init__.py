"""Stations without hardware: the physics of one, the devices that its sensors would be, and what happens there in a day.

Theory of operation. physics/ says what each point would truly read at any instant (world.py): the same scenario and
seed give the same world however often it is read. devices/ plays what real adapters read: kernel trees, serial lines,
Modbus units, GPIO lines, with every misbehaviour in a test's hands. scenarios/ are days at the invented Harbour Lane
Day Clinic, with what its people do, as a station file and as a recording. adapter.py is the way of reading called
`simulated`, one more name in the adapters' table.

Only value types are shared with the daemon (readings, entries, contracts, errors, quantities): what judges and what is
judged have no formula in common. fleet/ is another thing: many stations as a broker sees them, with a station's own bytes.
hard_plants.py and hard_filters.py are for the benches: heat-ups and filters that
nobody tuned for.
"""
