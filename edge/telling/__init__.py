"""Telling people and machines away from the page: messages to targets, syslog, and outputs in the room.

Theory of operation. Each target is one more cursor over the journal, with a place of its own (place.py) that is never journalled: what it
was told, and up to which entry all is settled. A thread for each target (teller.py) hears new entries, asks what is due, hands it to
whoever sends, and notes the place once it was taken. A kill between sending and noting repeats a message, and loses none; tries go on at
growing intervals without an end by count.

What is told whom, and when, is pure. tray.py is for people: one message for a cause; what somebody acknowledged before it could be told
is not told as new; "right again" goes where the alarm went; after an outage one summary says what stands and what came and went.
syslog.py is for machines: each change of state of an alarm, in order, as RFC 5424 has it. words.py holds what people read. lamp.py says
what an output in the room shows. cursor.py is what they share.

People are told through the library apprise, in a child process for each message (courier.py, child.py): a target that hangs or crashes is
killed by its time limit and holds nothing up. wire.py sends syslog; outputs.py drives lines of a GPIO chip by the judge's progress.
"""
