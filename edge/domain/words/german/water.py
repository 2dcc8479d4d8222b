"""German of water: supply, filters, leak."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

WATER: Final[Mapping[str, str]] = {
    # what draws showed
    "draw.ask": "Eine halbe Minute lang Wasser entnehmen",
    "draw.none": "noch keine gleichmäßige Wasserentnahme zur Beurteilung",
    "draw.none_since_ran_on": "noch keine Entnahme, seit Wasser ohne Ende weiterlief",
    "draw.too_long_ago": "letzte gleichmäßige Entnahme {age:when}",
    "draw.shown": "{here}{nominal} bei Entnahme{inferred}",
    "draw.inferred": " (kein Durchflussmesser: angenommen, solange die Filter Druck aufnehmen)",
    "draw.beyond": "{shown}, {beyond}",
    "draw.below.ask": "Absperrventil ganz öffnen; Zulauf und Filter prüfen; dann erneut Wasser entnehmen",
    "draw.above.ask": "Den Druckregler des Zulaufs einstellen lassen; dann erneut Wasser entnehmen",
    "draw.alarm_since": "{shown}, löste aber in einer späteren Entnahme, deren Ende nicht zu sehen war, einen Alarm aus",
    # what stands at rest
    "pressure.static_high": "{here} ohne Entnahme: zu hoch",
    "pressure.static_high.ask": "Den Druckregler des Zulaufs einstellen lassen",
    "pressure.static_was_high": "ohne Entnahme lag er über {limit}",
    "pressure.static_beyond": "{here}{nominal} ohne Entnahme, {beyond}",
    "pressure.static_not_yet_below": "{here}{nominal} ohne Entnahme, noch nicht lange genug unter {limit}",
    "pressure.static_low": "{here}{nominal} ohne Entnahme: unter den {least}, die bei Entnahme nötig sind",
    "pressure.static_low.ask": "Absperrventil öffnen; Zulauf prüfen; dann eine halbe Minute lang Wasser entnehmen",
    # what is read by eye
    "supply.fall": (
        "Der Druck der Versorgung fiel um {by} für {lasted}, und der Durchflussmesser zeigte keine Entnahme: "
        "{falls} von {wanted} Druckabfällen, bevor er bezweifelt wird"
    ),
    "supply.fall.advice": "Eine halbe Minute lang Wasser entnehmen und sehen, ob der Durchflussmesser es zeigt",
    "supply.read": "{here}, abgelesen von {by}",
    "supply.read_outside": "{here}, abgelesen von {by}: außerhalb der Grenzwerte",
    "supply.read_outside.ask": "Beheben und erneut ablesen",
    "supply.read_but_sunk": "{here}, abgelesen von {by}, aber seither ruht {point} unter dem Mindestwert bei Entnahme",
    "supply.read_but_sunk.ask": "Absperrventil ganz öffnen; dann erneut ablesen",
    # what the supply can give, and how long a fill takes
    "supply.could_give": "; der Zulauf könnte {flow} bei {least} geben",
    "supply.cannot_serve": "; der Zulauf reicht nicht: er könnte bei {least} nur {flow} geben, nötig {wanted}",
    "supply.perhaps_cannot_serve": "; der Zulauf reicht vielleicht nicht: er könnte bei {least} nur {flow} geben, nötig {wanted}",
    "supply.no_flow_meter": "kein Durchflussmesser",
    "supply.no_pressure": "kein Druck des Zulaufs",
    "supply.no_fall": "in letzter Zeit keine gleichmäßige Entnahme, bei der der Druck fiel",
    "fill.too_few_draws": "noch zu wenige Entnahmen gleichen Volumens",
    "fill.of": "für {litres:.2f L}{trend}",
    "fill.takes": "; eine Füllung von {litres:.1f L} dauert {lasts:.0f s}{trend}",
    "fill.longer": (
        "; sie dauert {share:.0%} länger als vor {days:.0f} Tagen: ein Filter, der sich zusetzt, oder ein schwächerer Zulauf"
    ),
    "fill.shorter": "; sie dauert {share:.0%} kürzer als vor {days:.0f} Tagen",
    # a filter's drop and age
    "filter.cause": "Filter {filter}: {why}{at_once}",
    "filter.change": "Filter {filter} wechseln",
    "filter.failed": "{by} hat ihn geprüft und für schlecht befunden",
    "filter.drop": "Druckabfall {drop} beim Referenzdurchfluss",
    "filter.no_drop": "kein Druckabfall bekannt",
    "filter.beyond": "{drop}, {beyond}",
    "filter.was_above": "nachdem er über {limit} lag",
    "filter.due_by_age": "letzter Wechsel {age:when}; fällig nach Monaten: {months}",
    "filter.no_change": "{drop}; kein Wechsel erfasst",
    "filter.no_change.ask": "Erfassen, wann Filter {filter} zuletzt gewechselt wurde",
    "filter.fell": "der Druckabfall sank von {before} auf {after}: gerissen, umgangen, oder ohne Erfassung gewechselt",
    "filter.fell.ask": "Den Wechsel von Filter {filter} erfassen, oder ihn samt Dichtungen prüfen lassen und das als Wartung erfassen",
    "filter.fell_suddenly": "der Druckabfall sank plötzlich: gerissen, umgangen, oder ohne Erfassung gewechselt",
    "filter.gains": "{drop}: ein Filter kann keinen Druck gewinnen",
    "filter.gains.ask": "Prüfen, ob die Stecker der Drucksensoren vertauscht sind",
    "filter.perhaps_above": "{drop}, vielleicht über {limit}: {why}",
    "filter.perhaps_above.ask": "Die Temperatur des Wassers messen",
    # all filters as one
    "filter.total": "Druckabfall {total} über alle Filter, kein Druck dazwischen",
    "filter.total_above": "{total}: mehr als die Grenzwerte zusammen",
    "filter.total_above.ask": "Die Filter wechseln; einen Druckmesspunkt dazwischen einbauen, um sie zu unterscheiden",
    "filter.alone_may_be": "{total}: dieser allein kann über {limit} liegen",
    "filter.alone_may_be.ask": "Einen Druckmesspunkt zwischen den Filtern einbauen, oder Filter {filter} wechseln",
    "filter.lumped": "kein Druck zwischen den Filtern: nur der Druckabfall über alle ist bekannt",
    "filter.lumped_drop": "kein Druck zwischen den Filtern: nur der Druckabfall über alle ist bekannt: {total}",
    "filter.lumped_left": (
        "kein Druck zwischen den Filtern: nur der Druckabfall über alle ist bekannt; es bleibt bis zur Summe ihrer Grenzwerte"
    ),
    # why a filter's drop isn't known, or what it is worth
    "filter.no_draw": "in letzter Zeit keine gleichmäßige Entnahme, um den Druckabfall zu beurteilen",
    "filter.no_draw_lumped": "in letzter Zeit keine gleichmäßige Entnahme, um den Druckabfall der Filter zu beurteilen",
    "filter.no_draw_yet": "keine gleichmäßige Entnahme zur Beurteilung",
    "filter.no_pressure": "kein Druck davor oder dahinter",
    "filter.no_meter": (
        "kein Durchflussmesser: Druckabfälle sind nicht vergleichbar zu machen, das Volumen ist nicht bekannt"
    ),
    "filter.no_supply": "keine Entnahme erkennbar: die Stationsdatei hat keinen Abschnitt [supply]",
    "filter.no_supply.ask": "Einen Abschnitt [supply] in der Stationsdatei ergänzen",
    "filter.not_measured": "davor und dahinter wird kein Druck gemessen",
    "filter.not_measured.ask": "Nach Augenschein und Alter beurteilen",
    "filter.by_eye": "der Druckabfall lässt sich nach abgelesenen Werten nicht beurteilen",
    "filter.by_eye.ask": "Einen Messpunkt für {role} einbauen, oder drop_limit weglassen",
    "filter.as_drawn": "wie entnommen: die Stationsdatei nennt keinen Referenzdurchfluss",
    "filter.flow_assumed": (
        "kein Durchflussmesser: der Durchfluss der Stationsdatei gilt, sobald die Filter Druck aufnehmen"
    ),
    "filter.no_zeros": "die Drucksensoren waren nie in Ruhe zu sehen: ihre Nullpunkte können darin stecken",
    "filter.unsure": "noch zu wenige Entnahmen, um die Sicherheit anzugeben",
    "filter.blind": "keine Wassertemperatur: nicht auf die Viskosität der Referenz umgerechnet{cold}",
    "filter.blind.cold": ", und zu dieser Jahreszeit können {share:.0%} des Druckabfalls kaltes Wasser sein",
    # what a filter will still let through
    "filter.left": "; noch etwa {days:.0f} Tage ({low:.0f} bis {high:.0f}), bis {until:date}{first}",
    "filter.left.first": ", erreicht den Grenzwert als erster",
    "filter.first": "erreicht den Grenzwert als erster",
    "filter.does_not_load": "; der Druckabfall steigt nicht: er setzt sich nicht zu",
    "filter.hardly_grows": "der Druckabfall wächst kaum: länger, als sich sagen lässt",
    "filter.no_limit": "die Stationsdatei nennt kein drop_limit",
    "filter.too_few_draws": "zu wenige gleichmäßige Entnahmen seit dem Wechsel",
    "filter.too_few_days": "noch zu wenige Tage in Gebrauch gesehen",
    "filter.clock_untrusted": "die Uhr ist nicht vertrauenswürdig",
    "filter.due_by_age_in": "nach Alter fällig in Tagen: {days:.0f}",
    "filter.ten_years": "mehr als zehn Jahre",
    # changing all at once
    "filter.used": "{filter} {share:.0%}",
    "filter.used_most": "; {filter} hat am meisten vom Grenzwert verbraucht ({shares:and})",
    "filter.change_both": "{most}; beide zugleich zu wechseln erfordert eine Behandlung des Wasserwegs statt mehrerer",
    "filter.change_all": "{most}; alle zugleich zu wechseln erfordert eine Behandlung des Wasserwegs statt mehrerer",
    # leaks
    "leak.ask": "Absperrventil schließen; feststellen, woher das Wasser kommt",
    "leak.wet": "{point} ist nass",
    "leak.seen_wet": "{by} hat Nässe gesehen",
    "leak.runs_on": (
        "Wasser läuft seit {span:.0f min} ohne Unterbrechung: ein Ventil schließt nicht, oder ein Schlauch ist ab"
    ),
    "leak.bled": (
        "der Druck fiel von {before} auf {after} innerhalb von {within:.0f min} ohne Entnahme: "
        "bei geschlossenem Absperrventil tritt dahinter Wasser aus; bei offenem ist der Zulauf ausgefallen"
    ),
    "leak.passed": "{litres:.1f L} liefen innerhalb von {within:g h} ohne Entnahme durch",
    "leak.drip": "{litres:.1f L} liefen innerhalb von {within:g h} ohne Unterbrechung und ohne Entnahme durch",
    "leak.drip.advice": (
        "Absperrventil über Nacht schließen und sehen, ob es aufhört; Abläufe, Schläuche und das Füllventil des Geräts prüfen"
    ),
    "leak.none": "kein Leck zu sehen{polled}",
    "leak.none_but": "kein Leck zu sehen; aber {drip}{polled}",
    "leak.none_unmetered": "kein Leck zu sehen{polled}; kein Durchflussmesser sagt, was unbemerkt durchläuft",
    "leak.none_read": "kein Leck zu sehen; {by} hat den Zähler abgelesen",
    "leak.no_quiet_half_hour": "noch keine ruhige halbe Stunde",
    "leak.least_flow": "der kleinste Durchfluss einer halben Stunde ohne Entnahme, innerhalb eines Tages",
    "leak.least_flow_unsure": (
        "der kleinste Durchfluss einer halben Stunde ohne Entnahme, innerhalb eines Tages; "
        "die Stationsdatei nennt weder Auflösung noch Unsicherheit des Zählers: wie sicher das ist, lässt sich nicht sagen"
    ),
}
