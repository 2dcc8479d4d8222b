"""Faces: one station as a building's own systems see it, each in the protocol that they speak.

A face is a process of its own (`warmwell face NAME`). It reads the station's API as any other program may, and answers by its protocol:
a fault of it, or a flood of questions, can't touch whoever judges. It only shows. Nothing that comes by a face changes what the station
measures, judges, keeps or forgets.

    source.py  hears the API's live stream, in a thread
    seen.py    what is known of the station at a moment: old is unknown (pure)
    places.py  which point, alarm and basin has which number in a protocol: kept, never given twice
    face.py    what each face is, and what runs one until SIGTERM, for a building or for a witness
    outbox.py  what is still to be told, for the faces that tell by themselves (telling.py): syslog, SNMP
    a module for each protocol

Unknown stays unknown: where the station isn't heard, or judges nothing, for ten seconds, the verdict is `unknown`, no point has a
value, and each face says so in its protocol's own way. Alarms stay as they were heard last, and are marked as not live.
"""
