"""One line of sensors for several stations: `warmwell bus FILE`.

A serial port can be read by one program alone, and each station of a board is a program of its own. So one small program holds the
port and gives each station a port of its own in its place: a pseudo-terminal behind a lasting name. A station reads it with the
adapter that it always uses, and knows nothing of the others.

- A line that only talks (`serial-line`) is copied to all.
- On a line of units that are asked (`modbus-rtu`) each station's questions take turns (turns.py). A question is passed on whole or not at
  all, and only if it reads: nothing that writes gets through. What comes back goes to who asked. A unit that is silent costs the
  others one time limit at the most; and no answer is ever taken for that of another station's question, as long as one may
  still be under way that looks the same.
- Where the port is lost, so are the stations' ports: each says so by itself, as if the port were its own.

Nothing is kept and nothing is judged here. A station that is stopped, killed or stuck takes no turn: the others go on.
"""
