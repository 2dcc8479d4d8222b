"""Words: what a station has to say (messages.py), in a language.

`saying.py` says a message to one station's people, in their units and their zone. Each language is one catalogue, id -> template; the
first is `english/`. What stands as a row elsewhere (a reason, a check, an alarm) has its English words in its row, under the ids
`reason.<key>`, `check.<row>` and `alarm.<id>`; a further language gives its own words for these ids.
"""
