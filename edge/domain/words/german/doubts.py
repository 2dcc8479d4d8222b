"""German of doubts: their causes, what ends them, and points and sections that leave a station unknown."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

DOUBTS: Final[Mapping[str, str]] = {
    "doubt.of": "{points}: {says}",
    "doubt.explained": "{point} ist durch eine Erfassung erklärt: {record:record}",
    # points that stand still
    "doubt.frozen": "{point} steht still: seit {still:ago}, zuvor nie länger als {longest}",
    "doubt.stopped": "Werte wiederholen sich seit {still:ago}, von ein und derselben Zeit an: {points}",
    "doubt.moves_again": "{point} bewegt sich wieder",
    "doubt.moves": "{point} bewegt sich",
    "doubt.toggling": (
        "{point} hängt fest: seit {rests:ago} innerhalb eines Schritts, zuvor nie länger als {longest}, während die Flüssigkeit schwankte"
    ),
    "doubt.toggling.over": "{point} bewegt sich wieder um mehr als einen Schritt",
    # the reservoir's probes
    "doubt.restless": "{point} schwankt um {swing:g K} und mehr, auf und ab innerhalb von Minuten: das tut keine Flüssigkeit",
    "doubt.restless.over": "{point} schwankt nicht mehr",
    "doubt.jumped": (
        "{point} ging innerhalb von {within:ago} von {before} auf {after} und blieb dort: "
        "eine Heizung schafft höchstens {heats:.2g} K/min"
    ),
    "doubt.jumped.back": "{point} ist zurückgesprungen",
    "doubt.unheated.rises": (
        "{point} ist um {rise:.2g K} auf {level} gestiegen, {since} nachdem {outlets:and} ausgelöst hat: nichts heizt"
    ),
    "doubt.unheated.stays": (
        "{point} bleibt bei {level}, {since} nachdem {outlets:and} ausgelöst hat: "
        "innerhalb von {within:ago} ohne Heizung fällt er um mindestens {least:.2g K}"
    ),
    "doubt.unheated.cools": "{point} kühlt ab wie eine Flüssigkeit, die nichts heizt",
    # rooms and basins
    "doubt.room_warm": "{point} {says} ({here}): {than}",
    "doubt.room_warm.than_rooms": "benutzte Räume sind nicht wärmer",
    "doubt.room_warm.than_liquid": "neben einer Flüssigkeit von {liquid}",
    "doubt.room_warm.over": "{point} zeigt wieder, was ein Raum haben kann",
    "doubt.basin_cold": "{point} ruht bei {here} in einem Raum von {room}: seit Stunden um mehr als {colder:g K} kälter",
    "doubt.basin_cold.over": "{point} ruht wieder so warm wie der Raum",
    # meter and gauges
    "doubt.no_pulses": "{says}: Druckabfälle ohne Impuls: {falls}",
    "doubt.meter_shows_draw": "der Zähler zeigt eine Entnahme",
    "doubt.exchanged_unseen": "{says}; und der Zähler meldet nichts von dem Wasser, das fließt",
    "doubt.exchanged.over": "eine Entnahme zeigt die Drücke in der richtigen Reihenfolge",
    "doubt.flow_no_drop.over": "eine Entnahme ist an den Drucksensoren zu sehen",
    "doubt.still_in_draw.over": "der Wert bewegt sich bei einer Entnahme",
    "doubt.zero": "{points:and}: {says}: {off}",
    "doubt.zero.over": "die Drucksensoren stimmen in Ruhe wieder überein",
    # what the last draw showed
    "doubt.unseen_low": "{here}, {says}",
    "doubt.static_low": "Zulauf: {says}",
    "doubt.static_sunk": (
        "{here} ohne Entnahme, {was} bei der letzten Entnahme: {says}, und bei Entnahme blieben {left} von den nötigen {least}"
    ),
    "doubt.static_sunk.over": "in Ruhe wieder hoch genug",
    "doubt.short_low": "Entnahmen: {draws}, {says}, die letzte {last}",
    "doubt.draw_out": "{here}: {says}",
    "doubt.drawn_anew": "eine Entnahme zeigt den Druck neu",
    # filters
    "doubt.stage": "Filter {filter}: {says}",
    "doubt.stage.too_little": (
        "Filter {filter} nimmt {takes} auf, ein sauberer nahm {took}: "
        "ein leeres Gehäuse, ein gerissener oder umgangener Filter; wo es richtig ist, erfassen, dass er geprüft wurde"
    ),
    "doubt.stage.over": "Filter {filter} nimmt bei einer Entnahme Druck auf",
    # points that no condition rests on
    "unjudged.second_of_role": "ein zweiter Messpunkt der Rolle {role:role}, von der nur der erste beurteilt wird",
    "unjudged.no_filter": "{role:role} wird gelesen, aber kein [[filter]] sagt, wie viel ein Filter aufnehmen darf",
    # sections that are missing
    "section.no_reservoir": "kein Abschnitt [reservoir] sagt, wie warm es sein muss",
    "section.no_pressure": "kein Abschnitt [supply] sagt, wie hoch der Druck sein muss",
    "section.no_flow": "kein Abschnitt [supply] sagt, wie groß der Durchfluss sein muss",
    "section.ask": "Den Abschnitt in der Stationsdatei ergänzen",
}
