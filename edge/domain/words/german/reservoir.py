"""German of the heated liquid: the reservoir, its heating and cooling, and the transfer to the basin."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

RESERVOIR: Final[Mapping[str, str]] = {
    # the condition, by the first probe
    "reservoir.unheard": "die Temperatur des Reservoirs ist nicht bekannt: {why}{since}",
    "reservoir.doubtful": "{here}{nominal}, aber {why}",
    "reservoir.above_maximum": "{here}{nominal}, über den erlaubten {most}",
    "reservoir.below_maximum_too_short": "{here}{nominal}, noch nicht lange genug unter den erlaubten {most}",
    "reservoir.above_maximum.ask": "Abkühlen lassen; den Thermostat prüfen lassen",
    "reservoir.above_label": "{here}{nominal}: im Becken wären es {basin}, über den {most} laut Etikett",
    "reservoir.below_label_too_short": (
        "{here}{nominal}: im Becken wären es {basin}, noch nicht lange genug unter den {most} laut Etikett"
    ),
    "reservoir.above_label.ask": "Den Sollwert innerhalb des Bereichs laut Etikett senken, oder abkühlen lassen",
    "reservoir.in_room": "Raum mit {room}, Transferverlust {loss}",
    "reservoir.in_assumed_room": "angenommener Raum mit {room}, Transferverlust {loss}",
    "reservoir.warm": "{here}{nominal}, nötig {needed}; {room}",
    "reservoir.unsure": "{here}{nominal}, {why}; nötig {needed}; {room}",
    "reservoir.unsure.room_cools": "aber der Raum kühlt ab: die Flüssigkeit kann kälter sein als ihr Fühler",
    "reservoir.unsure.falling": "und fallend: die Flüssigkeit kann kälter sein als ihr Fühler",
    "reservoir.unsure.topped_up": (
        "aber nachgefüllt: unter dem Fühler kann kalte Flüssigkeit liegen, bis ein Anstieg zu sehen ist"
    ),
    "reservoir.too_cold": "{here}{nominal}; nötig {needed}; {room}; im Becken wären es {basin}",
    "reservoir.warm_too_short": (
        "{here}{nominal}, noch nicht lange genug über den nötigen {needed}; {room}; im Becken wären es {basin}"
    ),
    "reservoir.no_power": "die Heizung hat keinen Strom",
    "reservoir.no_power.ask": "Die Stromversorgung der Heizung wiederherstellen",
    # by eye
    "reservoir.by_eye": "{here}, abgelesen von {by}; nötig {needed}",
    "reservoir.by_eye.ask": "Warten und erneut ablesen",
    "reservoir.too_hot_by_eye": "{what}, abgelesen von {by}",
    "reservoir.too_hot_by_eye.ask": "Abkühlen lassen und erneut ablesen",
    # what is needed isn't known
    "reservoir.needed_unknown": "wie warm es sein muss, ist nicht bekannt: {why}",
    "reservoir.no_room": "nichts sagt, wie kalt der Raum ist",
    "reservoir.no_room.ask": "In der Stationsdatei coldest_room unter [reservoir] ergänzen, oder einen Messpunkt für den Raum einbauen",
    # further probes
    "second_probe": "{point}: {here}{nominal}",
    "second_probe.unknown": "{point} ist nicht bekannt: {why}",
    "second_probe.doubtful": "{here}, aber {why}",
    "second_probe.above_maximum": "{here}, über dem Höchstwert, oder noch nicht lange genug darunter",
    "second_probe.above_label": "{here}: im Becken wäre es mehr, als das Etikett erlaubt, oder war es bis vor Kurzem",
    "second_probe.too_cold": "{here}: dort nicht warm genug, oder noch nicht lange genug",
    "second_probe.apart": "{here}: zwei Fühler einer Flüssigkeit, die seit einer halben Stunde um mehr als {by:g K} auseinanderliegen",
    "second_probe.apart.ask": "Umrühren; {first} und {point} mit einer Referenz vergleichen",
    # calibrations that a condition rests on
    "recalibrated.found": "{found:and}",
    "recalibrated.found.ask": "Erneut mit der Referenz vergleichen: {points:and}",
    "recalibrated.check_lower": "eine Prüfung von {at} fand {point} um {by} niedriger als angezeigt und stellte nichts nach",
    "recalibrated.check_higher": "eine Prüfung von {at} fand {point} um {by} höher als angezeigt und stellte nichts nach",
    "recalibrated.comparison_lower": "ein Vergleich von {at} fand {point} um {by} niedriger und wartet auf einen zweiten",
    "recalibrated.comparison_higher": "ein Vergleich von {at} fand {point} um {by} höher und wartet auf einen zweiten",
    "recalibrated.only_since": "erst seit der Kalibrierung von {at} erfüllt: zuvor war die Anzeige zu niedrig",
    "met_nominally.past_due": "nur nominell erfüllt: Kalibrierung überfällig: {points:and}",
    # alarms
    "reservoir.cold": "{here}, unter {limit}",
    "reservoir.away_too_long": "die Flüssigkeit ist länger fort, als ein Zyklus dauert",
    "heating.not_rising": "{here} und nicht steigend",
    "heating.levelled_off": "sie bleibt bei etwa {near} stehen, eingestellt sind {set_point}",
    # late for the first case
    "late": "{here}, {why}",
    "late.just_after": "erwartet kurz nach dem ersten Fall um {case}",
    "late.expected": "erwartet um {expected}, nach dem ersten Fall um {case}",
    "late.never": "{why}: nicht rechtzeitig zum ersten Fall um {case}",
    "late.not_warm_yet": "noch nicht warm zum ersten Fall um {case}",
    "late.too_cold": "es heizt, ist aber {why} zu kalt, um zum ersten Fall um {case} warm zu sein",
    "late.not_heating": "es heizt nicht und ist zum ersten Fall um {case} nicht warm",
    "late.must_start": "es heizt nicht: spätestens um {by} muss das Heizen beginnen ({why}), um zum ersten Fall um {case} warm zu sein",
    "heating.by_own_heat_ups": "nach früheren Aufheizungen dieser Station",
    "heating.by_limit": "nach dem Grenzwert der Aufheizzeit von {limit:g h}",
    # estimates
    "reservoir.source": "Transferverlust {loss}",
    "reservoir.source_assumed_room": "mit dem angegebenen kältesten Raum; Transferverlust {loss}",
    "reservoir.not_known": "die Temperatur des Reservoirs ist nicht bekannt",
    "reservoir.is_warm": "es ist warm",
    "reservoir.heated_away": "die geheizte Flüssigkeit ist fort",
    "heating.no_first_case": "kein erster Fall, zu dem es warm sein muss",
    "heating.under_way": "es heizt",
    "heating.overdue": "überfällig um {by}: das Heizen muss jetzt beginnen; {why}",
    # until when it is warm
    "reservoir.no_reading": "kein Messwert des Reservoirs",
    "heating.not_yet.falling": "noch nicht bekannt: es fällt",
    "heating.not_yet.topped_up": "noch nicht bekannt: es wurde nachgefüllt",
    "heating.off": "es heizt nicht",
    "heating.off.stopped_rising": "es heizt nicht: der Anstieg endete bei etwa {near}",
    "heating.just_begun": "noch nicht bekannt: das Heizen hat gerade erst begonnen",
    "heating.too_little_seen": "noch nicht bekannt: von dieser Aufheizung war zu wenig zu sehen",
    "heating.slower": "noch nicht bekannt: es steigt langsamer, als nach dem bisher Gesehenen zu erwarten wäre",
    "heating.broken_off": (
        "noch nicht bekannt: es heizte und wurde dann gekühlt, oder die Heizung ging aus; war der Deckel offen, oder wurde kalte "
        "Flüssigkeit zugegossen?"
    ),
    "heating.perhaps_never.set_point": (
        "nicht bekannt: der Sollwert von {set_point} liegt unter den nötigen {needed}, es erreicht sie vielleicht nicht"
    ),
    "heating.perhaps_never.slows_down": (
        "noch nicht bekannt: es erreicht sie vielleicht nicht; es wird langsamer, als endete es bei etwa {near}"
    ),
    "heating.perhaps_never.ends": "noch nicht bekannt: es erreicht sie vielleicht nicht; so endet es bei etwa {near}",
    "heating.never": "es wird nicht warm genug: {why}",
    "heating.never.set_point": "der Sollwert von {set_point} liegt unter den nötigen {needed}",
    "heating.never.levels_off": "es bleibt bei etwa {near} stehen",
    "heating.never.ends": "so endet es bei etwa {near}",
    "heating.weak": "die Heizung leistet {share:.0f} % von früher",
    "heating.loses_more": "es verliert mehr Wärme als früher: ist der Deckel offen?",
    "heating.too_weak": "die Heizung ist zu schwach, oder der Deckel ist offen",
    # a new estimate
    "heating.cooled": (
        "neue Schätzung: etwas hat die Flüssigkeit unterwegs gekühlt; war der Deckel offen, oder wurde kalte Flüssigkeit zugegossen?"
    ),
    "heating.warmed": (
        "neue Schätzung: es steigt schneller als zuvor; wurde der Deckel geschlossen, oder warme Flüssigkeit zugegossen?"
    ),
    "heating.paused": "neue Schätzung: das Heizen hatte pausiert, oder die Flüssigkeit wurde gekühlt",
    # until when it stays warm
    "reservoir.away": "die Flüssigkeit ist fort",
    "cooling.too_little_seen": "noch nicht bekannt: es war zu wenig davon zu sehen",
    "cooling.below_already": "es liegt schon darunter",
    "cooling.being_heated": "es wird geheizt",
    "cooling.not_cooling": "es kühlt nicht ab",
    "cooling.thermostat_holds_it": "der Thermostat hält es",
    "cooling.room_keeps_it_above": "der Raum hält es darüber",
    # a thermostat whose trough is too low
    "thermostat.set_point_would_do": (
        "der Thermostat lässt es auf {falls_to} fallen; ein Sollwert von {set_point} würde genügen, oder ein wärmerer Raum"
    ),
    "thermostat.room_would_do": (
        "der Thermostat lässt es auf {falls_to} fallen, und kein Sollwert im Bereich des Etiketts würde genügen: den Raum auf {room} wärmen"
    ),
    "thermostat.nothing_would_do": (
        "der Thermostat lässt es auf {falls_to} fallen, und kein Sollwert im Bereich des Etiketts würde genügen"
    ),
    # the transfer loss
    "transfer_loss.by_the_file": "wie in der Stationsdatei gemessen",
    "transfer_loss.by_the_rule": "nach der Faustregel",
    "transfer_loss.cycle_measured": "erste Zyklen gemessen: {cycles}",
    "transfer_loss.cycles_measured": "erste Zyklen gemessen: {cycles}",
    "transfer_loss.by_cycle": "gemessen (erste Zyklen: {cycles})",
    "transfer_loss.by_cycles": "gemessen (erste Zyklen: {cycles})",
    # transfers that a basin's probe sees
    "transfer.probe_doubted": "am Fühler des Beckens bestehen Zweifel",
    "transfer.too_short": "die Flüssigkeit blieb zu kurz, oder es wurde zu wenig davon gelesen",
    "transfer.reservoir_unread": "das Reservoir wurde davor nicht gelesen",
    "transfer.cooled_too_fast": "das Becken kühlte zu schnell ab, um die Flüssigkeit zu enthalten",
    "transfer.room_unknown": "wie kalt der Raum ist, ist nicht bekannt",
    "transfer.hardly_warmer": "die Flüssigkeit war kaum wärmer als der Raum",
    "transfer.followed": "das Becken zeigte die Temperatur des Reservoirs selbst",
    "transfer.hardly_seen": "der Fühler des Beckens sah kaum etwas von der Flüssigkeit",
    "transfer.scattered": "die Messwerte streuen zu stark",
    "transfer.forgotten": "{why}: der Transferverlust aus Zyklen ist vergessen (Anzahl: {cycles}){filed}",
    "transfer.forgotten.filed": "; was das Reservoir braucht, gilt wieder {loss}",
    "transfer.equipment_changed": "das Gerät wurde gewechselt",
    "transfer.calibrated": "{point} wurde kalibriert",
    # the basin's probe
    "basin.short": "das Becken kam auf {here}, das Etikett verlangt {least}",
    "basin.short.advice": "Diese Einwirkung nicht anrechnen; vor der nächsten das Reservoir oder den Raum weiter erwärmen",
    "basin.follows": "der Fühler des Beckens zeigt die Temperatur des Reservoirs",
    "basin.follows.advice": "Prüfen, ob der Fühler des Beckens im Becken hängt, und die Zeilen der Messpunkte in der Stationsdatei prüfen",
    "basin.swapped": "der Fühler des Beckens zeigt mehr als der des Reservoirs: wahrscheinlich vertauscht",
    "basin.swapped.advice": (
        "Prüfen, welcher Fühler im Reservoir und welcher im Becken hängt, und die Zeilen der Messpunkte in der Stationsdatei prüfen"
    ),
    "basin.is_basin_again": "der Fühler des Beckens zeigt wieder ein Becken",
}
