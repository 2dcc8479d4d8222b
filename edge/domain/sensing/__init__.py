"""From what an adapter read to a reading that can be believed.

Theory of operation. An adapter hands over a `Raw`: a number in the unit that it measured (mA, V, ohm, degC, Hz), or the
reason why there is none. A transducer makes the quantity of it (transducers.py; bare sensors in sensors.py, each curve
both ways with its source). It never invents a value: a sensor that is open or shorted, a loop below 3.6 mA, a number
that is none gives a reason of the table in readings.py. What must be measured with a reading (a sender's supply, a
thermocouple's reference junction) comes beside it in the same Raw.

The point's monitor (point_monitor.py) then asks, before any limit is looked at: is the value inside what this point can
be, does it change no faster than it can, has it moved at all, how old is it? One bad reading makes nothing unknown: the
last good one stands until the point's stale limit, and after that the point has no value at all. A value that is good
but unusual (a transmitter outside its range, pulses that were lost) is uncertain and says why.

Contacts are 1.0 or 0.0. A supervised one (supervised.py) ends in a resistor, so that a cut or shorted cable can't pass
for a contact at rest. Pulses (pulses.py) are counted with the kernel's own times and edge numbers; registers
(registers.py) and the text of 1-Wire files (onewire_text.py) are understood here too, since they are text and numbers
and need no port.

Calibrations. A comparison with a reference is worked out part by part after the GUM (calibration_budget.py; classes of
sensors in `CLASSES`). One comparison may correct a point by as much as its role allows (records/calibration_bounds.py,
`BOUNDS`); what goes beyond waits for a second one. The newest that counts is in force; conditions say where they rest
on it. A correction of the reservoir's probe shifts what the probe's watchers have heard, so that it is no fall of the
liquid.
"""
