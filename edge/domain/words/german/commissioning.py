"""German of the commissioning list: its items, what to do for each, and how they stand."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

COMMISSIONING: Final[Mapping[str, str]] = {
    "commissioning.not_yet": "Nicht in Betrieb genommen: {left:d} von {all:d} Punkten der Liste sind noch offen.",
    "commissioning.left": "nicht in Betrieb genommen: {left:d} von {all:d} Punkten der Liste sind noch offen",
    "commissioning.done": "in Betrieb genommen: jeder Punkt der Liste ist erledigt",
    "commissioning.ask": "Die Liste der Inbetriebnahme durchgehen{typed: (warmwell commission)}",
    "commissioning.group.site": "Standort",
    "commissioning.group.sensors": "Sensoren",
    "commissioning.group.water": "Wasser",
    "commissioning.group.heat": "Wärme",
    "commissioning.group.system": "Alarme, Strom, Uhr",
    "commissioning.group.own": "Eigenes des Standorts",
    "commissioning.state.open": "zu tun",
    "commissioning.state.reopened": "noch einmal zu tun",
    "commissioning.state.passed": "bestanden",
    "commissioning.state.failed": "nicht bestanden",
    "commissioning.state.not_applicable": "nicht anwendbar",
    "commissioning.item.standpipe": "Entleerung in ein Standrohr",
    "commissioning.do.standpipe": (
        "Nachsehen, dass der Schlauch der Entleerung in einem Standrohr endet, mindestens 30 cm (1 ft) unter ihrem Stutzen am Gerät, ohne "
        "Schlaufen und Knicke"
    ),
    "commissioning.item.shut_off": "Absperrventil",
    "commissioning.do.shut_off": "Nachsehen, dass ein Absperrventil in Reichweite ist, ganz öffnet und dicht schließt",
    "commissioning.item.housings": "Platz unter den Filtergehäusen",
    "commissioning.do.housings": (
        "Nachsehen, dass sich jede Filtertasse absenken und ihre Kerze herausnehmen lässt, ohne dass etwas im Weg ist"
    ),
    "commissioning.item.reservoir_below": "Reservoir unter dem Becken",
    "commissioning.do.reservoir_below": "Nachsehen, dass das Reservoir unter dem Becken steht, damit nichts zurückläuft",
    "commissioning.each.outlet": "Steckdose {of} mit Fehlerstromschutz",
    "commissioning.do.outlet": (
        "Die Testtaste der Steckdose drücken: die Station muss sehen, wie sie auslöst. Zurücksetzen und innerhalb einer Stunde erfassen"
    ),
    "commissioning.item.outlets": "Steckdosen mit Fehlerstromschutz",
    "commissioning.do.outlets": (
        "Nachsehen, dass alles an Steckdosen mit Fehlerstromschutz hängt und jede durch ihre Testtaste auslöst"
    ),
    "commissioning.item.filter_order": "Filter in ihrer Reihenfolge, handfest",
    "commissioning.do.filter_order": (
        "Nachsehen, dass der grobe Filter in Fließrichtung vor dem feinen kommt und die Filtertassen handfest angezogen sind"
    ),
    "commissioning.item.no_leaks": "Keine Lecks",
    "commissioning.do.no_leaks": (
        "Unter Druck jede Verbindung, Filtertasse, jedes Messgerät und jeden Schlauch ansehen: alles muss trocken sein"
    ),
    "commissioning.item.clock": "Uhr",
    "commissioning.do.clock": "Die Zeit der Station mit einer Uhr vergleichen, die richtig geht; die Station muss ihrer Uhr trauen",
    "commissioning.each.calibration": "Kalibrierung von {of}",
    "commissioning.do.calibration": "Mit einem Referenzgerät vergleichen und das erfassen{typed: (warmwell calibrate)}",
    "commissioning.each.zero": "Nullpunkt von {of}, belüftet",
    "commissioning.do.zero": (
        "Das Ventil schließen, den Druck ablassen, den Aufnehmer zur Luft öffnen, warten, bis er ruhig steht; dann den Messwert übernehmen"
    ),
    "commissioning.each.step": "Drucksprung an {of}",
    "commissioning.do.step": (
        "Das Ventil öffnen und nichts entnehmen: der Messwert muss auf den Druck des Zulaufs steigen; dann übernehmen"
    ),
    "commissioning.item.bucket": "Durchflussmesser gegen einen Eimer",
    "commissioning.do.bucket": (
        "Beim üblichen Durchfluss eine halbe Minute oder länger in einen Eimer mit Skala laufen lassen; Liter und Sekunden eingeben, und "
        "was der Messer zeigte, oder es weglassen für das, was die letzte Entnahme ergab"
    ),
    "commissioning.item.static": "Druck in Ruhe",
    "commissioning.do.static": "Einige Minuten nichts entnehmen; dann den Messwert übernehmen",
    "commissioning.item.dynamic": "Druck beim Entnehmen",
    "commissioning.do.dynamic": "Eine halbe Minute oder länger Wasser beim üblichen Durchfluss entnehmen; dann übernehmen, was es zeigte",
    "commissioning.item.drawn": "Durchfluss beim Entnehmen",
    "commissioning.do.drawn": "Eine halbe Minute oder länger Wasser entnehmen; dann übernehmen, was es zeigte",
    "commissioning.item.capacity": "Was der Zulauf hergibt",
    "commissioning.do.capacity": "Nach einer Entnahme den Durchfluss übernehmen, den der Zulauf beim kleinsten erlaubten Druck hergibt",
    "commissioning.item.decay": "Druckabfall bei geschlossenem Ventil",
    "commissioning.do.decay": (
        "Das Ventil schließen und nichts entnehmen; dann beginnen: die Station beobachtet den Druck für {time} und endet von selbst. Oder "
        "eingeben, wie hoch er davor und danach war. Den Druck ablassen, bevor etwas geöffnet wird"
    ),
    "commissioning.each.drop": "Druckabfall des sauberen Filters {of}, als Ausgangswert",
    "commissioning.do.drop": "Mit einer neuen Kerze eine halbe Minute oder länger Wasser entnehmen; dann den Druckabfall übernehmen",
    "commissioning.item.warm_up": "Ein ganzes Aufheizen, gelernt",
    "commissioning.do.warm_up": (
        "Die Flüssigkeit bei geschlossenem Deckel von der Raumtemperatur bis zum Sollwert aufheizen lassen: die Station lernt daraus"
    ),
    "commissioning.item.transfer": "Transferverlust im ersten Zyklus eines Tages",
    "commissioning.do.transfer": (
        "Mit einem Fühler im Becken den ersten Zyklus eines Tages nach der Anleitung des Herstellers fahren: die Station misst den "
        "Verlust. Mit einem Thermometer von Hand dessen Anzeige als Anmerkung eingeben. Ohne beides ist es nicht anwendbar"
    ),
    "commissioning.item.alarm_test": "Alarm von der Gebäudeleittechnik gesehen",
    "commissioning.do.alarm_test": (
        "Einen Alarm auslösen, etwa durch die Testtaste einer Steckdose, und ihn dort sehen und quittieren lassen; wo die Antwort nicht "
        "von selbst hierher kommt, als Anmerkung eingeben, wer ihn sah"
    ),
    "commissioning.item.restart": "Stromausfall und Neustart",
    "commissioning.do.restart": (
        "Wenn kein Zyklus läuft, die Versorgung der Station selbst trennen und wieder einschalten: sie muss von selbst zurückkommen"
    ),
    "commissioning.caution.pressure": (
        "Unter Druck: erst ablassen, dann öffnen; die Augen schützen. Die Anleitung des Herstellers geht vor"
    ),
    "commissioning.caution.mains": (
        "Netzspannung: nichts öffnen; was nicht stimmt, ist Sache von zugelassenem Fachpersonal. Die Anleitung des Herstellers und die "
        "örtlichen Vorschriften gehen vor"
    ),
    "commissioning.caution.heat": (
        "Heiße Flüssigkeit und Dampf: nicht berühren, den Deckel geschlossen halten. Die Anleitung des Herstellers geht vor"
    ),
    "commissioning.caution.liquid": (
        "Desinfektionsmittel: Handschuhe, Augenschutz und Lüftung nach dem Etikett. Die Anleitung des Herstellers geht vor"
    ),
    "commissioning.source.practice": "übliche Praxis, ohne veröffentlichte Quelle",
    "commissioning.source.station": "Grenze aus der Stationsdatei",
    "commissioning.source.site": "Eigenes des Standorts",
    "commissioning.live": "von der Station gemessen",
    "commissioning.entered": "eingegeben",
    "commissioning.timed": "{seen} ({limits}), von der Station gestoppt",
    "commissioning.fallen": "um {fall} gefallen in {time} ({rate:.2f own} je Minute), von {first} auf {last}",
    "commissioning.watched": "begonnen bei {here}",
    "commissioning.unusable": "nicht verwertbar: {why}",
    "commissioning.unusable.flowed": "es floss Wasser, während das Ventil geschlossen sein sollte",
    "commissioning.unusable.lost": "der Druck war nicht mehr zu lesen",
    "commissioning.unusable.rose": "der Druck stieg wieder, wie beim Öffnen des Ventils",
    "commissioning.unusable.stopped": "es wurde vor der Zeit beendet",
    "commissioning.unusable.restarted": "die Station wurde inzwischen neu gestartet, oder ihre Einstellungen wurden geändert",
    "commissioning.measured": "{here} ({limits}), {how}",
    "commissioning.between": "{low} bis {high}",
    "commissioning.at_least": "mindestens {low}",
    "commissioning.at_most": "höchstens {high}",
    "commissioning.share": "höchstens {most:.1%}",
    "commissioning.bucket_gave": "Messer {off:+.1%} \u00b1 {u:.1%} gegen den Eimer ({limits}), {how}",
    "commissioning.seen_by_station": "von der Station selbst gesehen",
    "commissioning.compared": "mit einer Referenz verglichen",
    "commissioning.warm_ups": "gelernt, Anzahl: {n:d}",
    "commissioning.transfers": "gemessen, Anzahl: {n:d}",
    "commissioning.restarted": "sie kam nach einem Stromausfall zurück",
    "commissioning.answered": "{alarm:alarm}: von einem Programm mit eigener Anmeldung quittiert",
    "commissioning.again": "{why}",
    "commissioning.file_changed": "seither in der Stationsdatei geändert: {section}",
    "commissioning.record_came": "seither: {record:record}, {at:date}",
    "commissioning.no_such_item": "kein solcher Punkt in der Liste der Station: {named}{there}",
    "commissioning.journal_only": "das Journal zeigt noch nichts davon, und nur das kann es: zuerst tun",
    "commissioning.nothing_told": (
        "{typed:weder passed noch not_applicable ist angegeben}{forms:es ist nicht angegeben, ob es bestanden ist}"
    ),
    "commissioning.no_number": (
        "die Station hat davon jetzt keinen Messwert: Wasser entnehmen, auf den Sensor warten, oder einen Wert eingeben"
    ),
    "commissioning.no_before": "der Druck beim Schließen des Ventils ist nicht angegeben{typed: (before)}",
    "commissioning.no_bucket": "Liter und Sekunden sind beide nötig",
    "commissioning.none_timed": "die Station stoppt gerade keine Zeit",
    "commissioning.already_timed": "die Station stoppt dafür schon die Zeit",
    "commissioning.not_timed": "für diesen Punkt stoppt die Station keine Zeit",
    "commissioning.no_pressure": "die Station hat jetzt keinen Messwert des Drucks: nach dem Sensor sehen, oder die Zeit von Hand stoppen",
    "commissioning.water_runs": "es läuft Wasser: warten, bis es steht, das Ventil schließen und dann beginnen",
    "commissioning.little_pressure": (
        "in der Leitung stehen {here}, und unter {least} sagt ein Abfall nichts: sie füllen lassen, das Ventil schließen und dann beginnen"
    ),
    "commissioning.bucket_too_coarse": (
        "auf {u:.1%} unsicher, mehr als die erlaubten {most:.1%}: mehr Wasser entnehmen, und länger"
    ),
}
