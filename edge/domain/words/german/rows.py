"""German of rows of facts: reasons of readings, checks between points, alarms. Their English stands in the rows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from edge.domain.words.language import RowWords, row_words

_REASONS: Final[Mapping[str, RowWords]] = {
    "no_reading_yet": ("noch kein Messwert", "Eine Periode warten; dann prüfen, ob der Sensor verdrahtet und versorgt ist"),
    "stale": ("zu lange kein Messwert", "Kabel und Versorgung des Sensors prüfen"),
    "not_entered": ("niemand hat eine Ablesung eingegeben, die noch gilt", "Ablesen und mit Einheit eingeben"),
    "no_answer": ("keine Antwort innerhalb der Frist", "Kabel, Versorgung und Adresse des Sensors prüfen"),
    "bus_lost": ("der Bus ist ausgefallen", "Den Stecker des Adapters neu einstecken; Warmwell versucht es von selbst wieder"),
    "in_use": ("die Leitung oder Schnittstelle wird von einem anderen Programm benutzt", "Das andere Programm beenden"),
    "garbled": ("die Antwort war nicht zu verstehen", "Baudrate, Muster und Schirmung prüfen"),
    "empty_answer": ("eine leere Antwort", "Kabel und Pull-up des Sensors prüfen"),
    "no_valid_answer": (
        "keine gültige Antwort: Kabel durchtrennt, Fühler defekt oder Störung",
        "Zuerst Kabel und Stecker des Fühlers prüfen, dann Pull-up und Schirmung; einen Fühler ersetzen, der stumm bleibt",
    ),
    "crc": ("Prüfsumme falsch (CRC)", "Kabellänge, Pull-up und Schirmung prüfen"),
    "power_on_value": ("Einschaltwert", "Versorgung und Pull-up des Sensors prüfen"),
    "refused": (
        "das Gerät am Bus hat die Anfrage abgewiesen",
        "Art und Adresse des Registers mit der Anleitung vergleichen; Adressen zählen ab 0",
    ),
    "absurd_number": (
        "eine Zahl, die keine Messung sein kann", "Typ und Reihenfolge des Registers mit der Anleitung vergleichen",
    ),
    "not_a_number": ("keine Zahl", "Das Ausgabeformat des Messumformers prüfen"),
    "out_of_range": (
        "außerhalb dessen, was dieser Messpunkt sein kann", "Sensor, Verdrahtung und Einstellung range des Messpunkts prüfen",
    ),
    "beyond_its_role": (
        "weder fließendes Kaltwasser noch ein benutzter Raum kann so sein",
        "Kabel, Stecker und Einbauort des Fühlers prüfen; mit einem Referenzgerät vergleichen",
    ),
    "impossible_rate": ("schneller geändert, als möglich ist", "Auf Wackelkontakt oder Störung prüfen"),
    "stuck": ("hat sich zu lange gar nicht bewegt", "Mit einer Referenz vergleichen; den Sensor ersetzen, wenn er festhängt"),
    "perhaps_stuck": ("hat sich eine Weile gar nicht bewegt", "Mit einem Referenzgerät vergleichen"),
    "loop_open": (
        "Stromschleife offen oder Geberfehler", "Verdrahtung der Schleife und Messumformer prüfen",
    ),
    "loop_over": (
        "Stromschleife kurzgeschlossen oder Geberfehler", "Verdrahtung der Schleife und Messumformer prüfen",
    ),
    "under_range": ("unter dem Bereich des Messumformers", "Bereich und Nullpunkt des Messumformers prüfen"),
    "over_range": ("über dem Bereich des Messumformers", "Bereich und Spanne des Messumformers prüfen"),
    "sensor_open": (
        "Sensor offen: Kabel oder Element gebrochen", "Stecker und Kabel des Sensors prüfen; das Element messen",
    ),
    "under_supplied": (
        "der Sensor hat zu wenig Strom",
        "Dem Fühler seine Versorgungsader geben, oder einen stärkeren Pull-up; das Kabel kürzen",
    ),
    "supply_wrong": (
        "die Versorgungsspannung des Sensors ist falsch",
        "Die Versorgung am Stecker des Sensors messen; Sicherung und Kabel prüfen",
    ),
    "shorted": ("Sensorleitung kurzgeschlossen", "Das Kabel des Sensors auf Kurzschluss prüfen"),
    "device_gone": (
        "der Sensor oder sein Gerät ist nicht da",
        "Stecker, Kabel und Versorgung sowie die Adresse in der Stationsdatei prüfen",
    ),
    "io_error": (
        "das Lesen ist misslungen (Ein-/Ausgabefehler)", "Kabel und Stecker prüfen; siehe Journal des Systems",
    ),
    "no_access": (
        "der Dienst darf es nicht lesen",
        "Dem Benutzer des Dienstes Zugriff auf das Gerät geben, wie es die Installation tut",
    ),
    "lower_stop": (
        "der Wandler ist an seinem unteren Anschlag",
        "Verdrahtung und Polung des Sensors sowie den Messbereich des Wandlers prüfen",
    ),
    "upper_stop": (
        "der Wandler ist an seinem oberen Anschlag",
        "Auf offenen Sensor oder falsche Versorgung sowie den Messbereich des Wandlers prüfen",
    ),
    "loop_unclear": (
        "die überwachte Schleife ist weder in Ruhe noch ausgelöst",
        "Die Schleife an der Platine messen; Widerstände, Verbindungen und Kabel auf Korrosion und Wasser prüfen",
    ),
    "no_such_line": (
        "der Baustein hat keine solche Leitung", "Nummer oder Namen der Leitung in der Stationsdatei prüfen",
    ),
    "edges_lost": (
        "Impulse gingen unterwegs verloren und wurden nach ihren Nummern gezählt",
        "Den Zähler öfter lesen, oder die Platine entlasten",
    ),
    "edges_noisy": (
        "mehr Flanken, als der Zähler geben kann",
        "Kabel, Schirm und Pull-up des Zählers sowie seinen größten Durchfluss in der Stationsdatei prüfen",
    ),
    "adapter_fault": (
        "der Adapter ist ausgefallen", "Siehe Systemjournal; mit einer Wiedergabe der Messwerte melden",
    ),
    "contradicted": ("von einem anderen Messpunkt widerlegt", "Beide Messpunkte prüfen"),
    "recorded_bad": ("als schlecht aufgezeichnet", "Den Grund in der Aufzeichnung nachsehen"),
}  # fmt: skip

_DRAW: Final = "dann eine halbe Minute lang Wasser entnehmen"
_CHECKS: Final[Mapping[str, RowWords]] = {
    "no_pulses": (
        "der Druck zeigt eine Entnahme, der Zähler keine",
        f"Den Durchflussmesser prüfen: Rotor, Kabel und Pull-up; {_DRAW}",
    ),
    "drop_no_flow": (
        "die Filter nehmen Druck auf, der Zähler sagt, dass nichts fließt",
        f"Durchflussmesser und beide Drucksensoren prüfen; nach laufendem Wasser suchen; {_DRAW}",
    ),
    "zero": (
        "weicht in Ruhe von den anderen ab: ein Nullpunkt hat sich verschoben",
        "Mit einem Referenzmanometer vergleichen und das erfassen; sicherstellen, dass kein Ventil zwischen den Drucksensoren zu ist",
    ),
    "exchanged": (
        "der Druck steigt entlang der Filter: Messpunkte wahrscheinlich vertauscht",
        f"Prüfen, welcher Drucksensor wo eingesteckt ist, und die Zeilen der Messpunkte in der Stationsdatei prüfen; {_DRAW}",
    ),
    "flow_no_drop": (
        "der Zähler sagt Entnahme, kein Drucksensor bewegt sich",
        f"Den Durchflussmesser, die Kabel der Drucksensoren und ihre Absperrventile prüfen; {_DRAW}",
    ),
    "still_in_draw": (
        "hat sich nicht oder nur in der letzten Stelle bewegt, während Wasser entnommen wurde",
        f"Den Drucksensor, sein Kabel und sein Absperrventil prüfen; {_DRAW}",
    ),
    "stage": (
        "nimmt nichts auf, während Wasser fließt: nicht eingebaut, umgangen, oder beide Drucksensoren auf einer Seite",
        f"Sicherstellen, dass der Filter eingebaut ist, und prüfen, wo seine Drucksensoren abzweigen; {_DRAW}",
    ),
    "static_low": (
        "stand ohne Entnahme zu niedrig: was die letzte Entnahme zeigte, gilt nicht mehr",
        f"Sicherstellen, dass das Absperrventil offen ist; {_DRAW}",
    ),
    "static_sunk": (
        "seit der letzten Entnahme gesunken",
        "Erneut eine halbe Minute lang Wasser entnehmen; wo der Druck niedrig bleibt, den Zulauf prüfen",
    ),
    "short_low": (
        "zu kurz, um gleichmäßig zu sein, zeigten alle weniger, als bei Entnahme nötig ist",
        "Eine halbe Minute lang Wasser entnehmen; wo der Druck niedrig bleibt, das Absperrventil ganz öffnen und den Zulauf prüfen",
    ),
    "unseen_low": (
        "unter dem Mindestwert, während die Filter Druck aufnahmen, und der Zähler meldete nichts davon",
        f"Den Durchflussmesser prüfen; {_DRAW}",
    ),
    "draw_out": (
        "außerhalb der Grenzwerte in einer Entnahme, deren Ende nicht zu sehen war", "Eine halbe Minute lang Wasser entnehmen",
    ),
    "frozen": (
        "ist ruhiger als je zuvor", "Mit einem Referenzgerät vergleichen; den Sensor ersetzen, wenn er festhängt",
    ),
    "stopped": (
        "stehen seit ein und derselben Zeit still: was sie liest, wiederholt seine letzten Antworten",
        "Das Gateway oder den Adapter neu starten, Kabel und Versorgung prüfen; dann sehen, ob die Messpunkte sich bewegen",
    ),
    "unmoved": (
        "hat sich nicht bewegt, seit Einträge des Journals verloren gingen: vielleicht war bekannt, dass er festhing",
        "Warten, bis er sich bewegt, oder mit einem Referenzgerät vergleichen",
    ),
    "toggling": (
        "bleibt innerhalb eines Schritts, obwohl die Flüssigkeit schwankt",
        "Mit einem Referenzgerät vergleichen; den Sensor ersetzen, wenn er festhängt",
    ),
    "jumped": (
        "ist gesprungen, wie keine Heizung heizen kann",
        ("Den Fühler mit einem Referenzgerät vergleichen und das als Kalibrierung erfassen; wurde warme Flüssigkeit zugegossen oder der "
        "Fühler bewegt, das erfassen{typed: (disinfectant_fill, disinfectant_top_up, service mit seinem Messpunkt)}"),
    ),
    "restless": (
        "schwankt um mehrere Kelvin, wie es keine Flüssigkeit tut",
        "Stecker, Kabel und Versorgung des Fühlers prüfen; mit einem Referenzgerät vergleichen",
    ),
    "unheated": (
        "bleibt warm, obwohl die Steckdose der Heizung ausgelöst hat",
        "Den Fühler mit einem Referenzgerät vergleichen und das als Kalibrierung erfassen; prüfen, welche Steckdose die Heizung speist",
    ),
    "basin_cold": (
        "ruht viel kälter als der Raum",
        ("Den Fühler des Beckens und den des Raums mit einem Referenzgerät vergleichen und das als Kalibrierung erfassen; sicherstellen, "
        "dass das Becken leer ist"),
    ),
    "room_warm": (
        "liest wärmer, als ein Raum neben der Flüssigkeit sein kann",
        "Sicherstellen, dass der Fühler des Raums frei hängt, fern von Behälter, Sonne und Heizkörper",
    ),
}  # fmt: skip

_STOPS: Final = "Die Station darf erst starten, wenn es getan ist"
_DO_IT: Final = "Durchführen und erfassen"
_ALARMS: Final[Mapping[str, RowWords]] = {
    "reservoir_cold": (
        "Die Einwirkung im Becken läge unter dem Mindestwert laut Etikett: kein Zyklus darf starten",
        "Sicherstellen, dass die Heizung ein und ihre Steckdose unter Spannung ist; die erwartete Zeit abwarten, oder den Raum wärmen",
    ),
    "reservoir_hot": (
        "Außerhalb des Bereichs laut Etikett; Endoskope und Flüssigkeit können leiden; heiße Oberflächen und Dampf",
        "Nicht starten; abkühlen lassen; den Thermostat nach den Vorgaben des Herstellers prüfen lassen",
    ),
    "not_heating": (
        "Es wird nicht warm: kein Zyklus darf starten",
        ("Sicherstellen, dass die Heizung ein und ihr Thermostat eingestellt ist; den Deckel schließen; Heizung und Thermostat von "
        "zugelassenem Fachpersonal prüfen lassen"),
    ),
    "heating_weak": (
        "Das Aufheizen dauert länger als früher: ein Heizelement versagt vielleicht, oder der Deckel ist offen",
        "Den Deckel schließen; mit der späteren Zeit rechnen; die Heizung von zugelassenem Fachpersonal prüfen lassen",
    ),
    "late_for_first_case": (
        "Der erste Fall des Tages muss warten",
        "Jetzt heizen, wo es noch nicht heizt; den Deckel schließen, den Raum wärmen; der Fallplanung sagen, wann es warm sein wird",
    ),
    "pressure_low": (
        "Kanäle und Spülungen bekommen zu wenig Wasser",
        "Absperrventil ganz öffnen; sehen, ob andere entnehmen; den Druckregler des Zulaufs prüfen",
    ),
    "pressure_high": (
        "Verschraubungen und Filtergehäuse werden belastet",
        "Den Druckregler des Zulaufs einstellen lassen; von Gehäusen unter Druck fernbleiben",
    ),
    "static_high": (
        "Verschraubungen und Filtergehäuse werden ohne Entnahme belastet",
        "Den Druckregler des Zulaufs prüfen lassen; von Gehäusen unter Druck fernbleiben",
    ),
    "static_low": (
        "In Ruhe weniger, als bei Entnahme nötig ist: Füllungen und Spülungen bekämen zu wenig Wasser",
        "Absperrventil öffnen; sehen, ob die Versorgung des Gebäudes aus ist; dann eine halbe Minute lang Wasser entnehmen",
    ),
    "flow_low": (
        "Füllungen und Spülungen dauern zu lange", "Absperrventil ganz öffnen; die Druckabfälle der Filter prüfen",
    ),
    "flow_high": (
        "Ein Schlauch ist vielleicht ab, oder der Faktor des Zählers falsch", "Nach laufendem Wasser suchen",
    ),
    "outlet_tripped": (
        "Kein Strom hinter dieser Steckdose: was sie speist, steht still oder kühlt ab",
        "Hände trocken halten; nur einmal zurücksetzen: die Ursache von zugelassenem Fachpersonal finden lassen",
    ),
    "outlet_test_failed": (
        "Diese Steckdose schützt Personen vielleicht nicht vor einem Stromschlag; die Station darf nicht starten",
        "Nichts benutzen, was sie speist; von zugelassenem Fachpersonal instand setzen lassen, dann erneut testen und das erfassen",
    ),
    "leak": ("Wasser, wo keines sein soll", "Absperrventil schließen; aufwischen; feststellen, woher es kommt"),
    "filter_due": (
        "Spülungen dauern länger; ein überfälliger Filter kann durchlassen, was er zurückhalten soll",
        "Den Filter nach der Anleitung des Herstellers wechseln; danach ist die Behandlung des Wasserwegs geschuldet",
    ),
    "filter_fell": (
        "Ein gerissener oder umgangener Filter lässt durch, was er zurückhalten soll",
        "Wurde er gewechselt, den Wechsel erfassen; sonst den Filter und seine Dichtungen prüfen lassen, bevor Wasser verwendet wird",
    ),
    "silent": (
        "Was dieser Messpunkt sagen soll, ist nicht bekannt",
        "Sicherstellen, dass der Stecker sitzt und das Kabel heil ist; bis dahin ablesen, was er sagen soll",
    ),
    "bus_lost": (
        "Keiner seiner Messpunkte kann gelesen werden",
        "Den Stecker des Adapters an der Platine neu einstecken; bis dahin ablesen, was seine Messpunkte sagen sollen",
    ),
    "duty_due": (_STOPS, _DO_IT),
    "hold": ("Die Station ist gesperrt und darf nicht starten", "Fragen, wer sie gesperrt hat"),
    "backup_overdue": (
        "Fällt der Datenträger der Platine aus, ist die Aufzeichnung seit der letzten Sicherung verloren",
        "Prüfen, ob der Datenträger der Sicherung eingesteckt ist und Platz hat; von Hand: warmwell backup DEST",
    ),
    "archive_silent": (
        "Was hier erfasst wird, steht vielleicht nur auf dem Datenträger dieser Platine",
        "Prüfen, ob das Archiv läuft und der Broker es seinen Bestand melden lässt; bis dahin sichern: warmwell backup DEST",
    ),
    "certificate_ends": (
        "Danach warnen Browser vor der Seite, und Programme, die es prüfen, fragen sie nicht mehr",
        "Von der Stelle des Hauses erneuern lassen und die Dateien einsetzen; ein eigenes: warmwell certificate make FILE",
    ),
    "disk_low": (
        "Messwerte, später das Journal, können nicht aufbewahrt werden",
        "Auf dem Datenträger der Platine Platz schaffen, oder die Karte ersetzen",
    ),
    "clock_untrusted": (
        "Fälligkeiten sind nicht feststellbar", "Sicherstellen, dass die Platine ihren Zeitserver erreicht",
    ),
    "store": (
        "Was hier gemessen oder erfasst wird, wird vielleicht nicht aufbewahrt; Erfassungen werden vielleicht abgewiesen",
        "Karte oder Datenträger bald ersetzen; bis dahin auf Papier erfassen und danach eingeben",
    ),
    "untold": (
        "Wer genannt ist, erfährt außerhalb von hier von keinem Alarm",
        "Sicherstellen, dass Netz, Broker und Ziele laufen; warmwell tell FILE --test probiert jedes",
    ),
    "duty_due.daily_test": (_STOPS, _DO_IT),
    "duty_due.daily_test_of_basin": ("Das Becken {basin} darf erst starten, wenn es getan ist", _DO_IT),
    "duty_due.calibration": (
        "Bedingungen, die auf diesem Messpunkt beruhen, sind nur nominell erfüllt, bis er kalibriert ist",
        "Den Messpunkt mit einer Referenz vergleichen und das erfassen",
    ),
    "duty_due.water_path_treatment": (_STOPS, _DO_IT),
    "duty_due.disinfectant_change": (_STOPS, _DO_IT),
    "duty_due.concentration_check": (_STOPS, _DO_IT),
    "duty_due.by_calendar": (
        "Was der Standort festgelegt hat, ist überfällig; das Urteil sagt, ob die Station trotzdem starten darf", _DO_IT,
    ),
}  # fmt: skip

ROWS: Final[Mapping[str, str]] = {
    **row_words(_REASONS, _CHECKS, _ALARMS),
    "alarm.reservoir_cold.beyond": "{here} im Reservoir, unter {limit}",
    "alarm.reservoir_hot.beyond": "{here} im Reservoir, über {limit}",
    "alarm.pressure_low.beyond": "{here} bei Entnahme, unter {limit}",
    "alarm.pressure_high.beyond": "{here} bei Entnahme, über {limit}",
    "alarm.static_high.beyond": "{here} ohne Entnahme, über {limit}",
    "alarm.flow_low.beyond": "{here} bei Entnahme, unter {limit}",
    "alarm.flow_high.beyond": "{here} bei Entnahme, über {limit}",
}
