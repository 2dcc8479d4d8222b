"""German: reports."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

REPORTS: Final[Mapping[str, str]] = {
    "report.day": "Tagesbericht",
    "report.span": (
        "{day}, von {begins:date} {begins} bis {ends:date} {ends}: {hours:.3g} Stunden nach der "
        "Uhr der Station ({zone})"
    ),
    "report.not_over": "Der Tag war nicht vorbei, als dies erstellt wurde: er ist bis {at} erfasst.",
    "report.simulated": "Dies ist eine simulierte Station: nichts davon ist geschehen.",
    "report.head.verdict": "Durfte die Station starten?",
    "report.head.alarms": "Alarme",
    "report.head.records": "Was erfasst wurde",
    "report.head.readings": "Kleinste und größte Messwerte",
    "report.head.reservoir": "Reservoir",
    "report.head.draws": "Wasserentnahmen",
    "report.head.heat_ups": "Aufheizungen",
    "report.head.watch": "Wann niemand wachte",
    "report.head.incidents": "Was die Überwachung sonst behinderte",
    "report.head.evidence": "Nachweis",
    "report.head.signatures": "Gesehen von",
    "report.none": "keine",
    "report.word_lasted": "{word}: {span}",
    "report.unwatched": "nicht überwacht: {span}",
    "report.lasts": "stand am Ende noch an",
    "report.at_latest": "spätestens {at}",
    "report.on_another_day": "{at:date} {at}",
    "report.at": "{at}",
    "report.event": "{at}: {state:state}",
    "report.event_by": "{at}: {state:state} ({by})",
    "report.event_again": "{at}: erneut gemeldet",
    "report.does_not_count": "zählt nicht: {why}",
    "report.water": "{volume:.1f L} in {number:d} Entnahmen",
    "report.volume": "{volume:.2f L}",
    "report.share": "{share:.1%}",
    "report.gap_stopped": "beendet: {why}",
    "report.gap_broken": "der Lauf endete ohne ein Wort",
    "report.undated": (
        "{n:d} Einträge, die von diesem Tag sein können, haben kein verlässliches Datum; `warmwell "
        "export journal` führt sie auf."
    ),
    "report.untrusted": (
        "{n:d} Einträge dieses Tages entstanden, als der Uhr der Station nicht zu trauen war; ihre "
        "Zeiten sind, soweit jetzt bekannt."
    ),
    "report.entries": "{n:d} Einträge des Journals sind von diesem Tag, von {first:d} bis {last:d}.",
    "report.no_entries": "Das Journal hat keinen Eintrag von diesem Tag.",
    "report.rests_on": "Dieser Bericht beruht auf dem Journal bis Eintrag {seq:d}, Prüfsumme {digest}.",
    "report.chain_holds": "Die Kette des Journals war bei der Erstellung unversehrt.",
    "report.chain_broken": (
        "Die Kette des Journals war bei der Erstellung NICHT unversehrt: {why}. Nichts hier ist bewiesen."
    ),
    "report.signed": (
        "Die Station signierte das Journal bis Eintrag {seq:d} am {at:date} um {at}; Prüfsumme ihres Schlüssels: {key}."
    ),
    "report.not_signed": "Die Station hat das Journal noch nicht signiert.",
    "report.readings_apart": "Messwerte sind kein Teil der Kette; was die Station daraus schloss, schon.",
    "report.to_prove": "Gegen das Journal prüfen: warmwell verify REPORT --journal FOLDER",
    "report.made": "Erstellt am {at:date} um {at} von Warmwell {version}.",
    "report.only_watches": (
        "Warmwell beobachtet nur. Was getan wird, folgt den Anleitungen der Hersteller, dem "
        "Etikett und den Regeln des Standorts."
    ),
    "report.kind.clock_step": "Uhr",
    "report.kind.bus": "Bus",
    "report.kind.repair": "Speicher",
    "report.kind.settings": "geltende Einstellungen",
    "report.kind.settings_refused": "Einstellungen abgelehnt",
    "report.kind.contradiction": "Sensoren bezweifelt",
    "report.kind.contradiction_over": "nicht mehr bezweifelt",
    "report.kind.power": "Strom",
    "report.kind.untold": "nicht gemeldet",
    "report.kind.duty_dropped": "Pflicht",
    "report.col.from": "von",
    "report.col.to": "bis",
    "report.col.at": "um",
    "report.col.word": "Wort",
    "report.col.why": "warum",
    "report.col.alarm": "Alarm",
    "report.col.priority": "Priorität",
    "report.col.cause": "Ursache",
    "report.col.answers": "was daraus wurde",
    "report.col.record": "Eintrag",
    "report.col.by": "von",
    "report.col.told": "Angaben",
    "report.col.point": "Sensor",
    "report.col.low": "kleinster",
    "report.col.high": "größter",
    "report.col.covered": "vom Tag",
    "report.col.lasted": "Dauer",
    "report.col.volume": "Menge",
    "report.col.flow": "Durchfluss",
    "report.col.supply": "Zulauf",
    "report.col.drops": "Druckabfälle der Filter",
    "report.col.what": "was",
    "report.col.entry": "Eintrag",
    "report.col.name": "Name",
    "report.col.date": "Datum",
    "report.col.signature": "Unterschrift",
    "report.period": "Zeitraumbericht",
    "report.period_span": (
        "{period}, von {begins:date} {begins} bis {ends:date} {ends}: {days:d} Tage nach der Uhr der Station ({zone})"
    ),
    "report.period_not_over": (
        "Der Zeitraum war nicht vorbei, als dies erstellt wurde: er ist bis {at:date} {at} erfasst."
    ),
    "report.period_entries": "{n:d} Einträge des Journals sind aus diesem Zeitraum, von {first:d} bis {last:d}.",
    "report.period_no_entries": "Das Journal hat keinen Eintrag aus diesem Zeitraum.",
    "report.period_undated": (
        "{n:d} Einträge, die aus diesem Zeitraum sein können, haben kein verlässliches Datum; "
        "`warmwell export journal` führt sie auf."
    ),
    "report.head.days": "Tag für Tag",
    "report.head.causes": "Was den Start verhinderte",
    "report.head.performance": "Wie sich die Alarme bewährten",
    "report.head.duties": "Fällig gewordene Pflichten",
    "report.head.filters": "Druckabfälle an den Filtern",
    "report.head.work": "Wechsel und Wartung",
    "report.ready_at_first": "Beim ersten Fall bereit an {n:d} von {of:d} Tagen, die einen hatten.",
    "report.closed": "geschlossen",
    "report.still_to_come": "steht noch aus",
    "report.not_known": "nicht überwacht",
    "report.causes_overlap": (
        "Mehrere können zugleich bestehen, die Zeiten überschneiden sich also. Gezählt wird von einem "
        "Zustandswechsel der Station zum nächsten: was dazwischen erfüllt wurde, steht in keinem Eintrag. Was "
        "fehlte, während niemand wachte, ist nicht bekannt."
    ),
    "report.figures_from": (
        "Kennzahlen und Ziele sind die der Alarmnormen (ISA-18.2, IEC 62682), aus dem Gedächtnis "
        "und öffentlichen Übersichten."
    ),
    "report.counted": "{number:d}, davon zählten {counted:d}",
    "report.col.day": "Tag",
    "report.col.first_case": "beim ersten Fall",
    "report.col.unwatched": "nicht überwacht",
    "report.col.condition": "Bedingung",
    "report.col.figure": "Kennzahl",
    "report.col.value": "Wert",
    "report.col.number": "Anzahl",
    "report.col.duty": "Pflicht",
    "report.col.filter": "Filter",
    "report.col.first": "zuerst",
    "report.col.last": "zuletzt",
    "report.figure.announced": "gemeldet",
    "report.figure.per_day": "am Tag, im Mittel",
    "report.figure.most_in_period": "in zehn Minuten, höchstens",
    "report.figure.flooded": "Zeit in Alarmfluten, Prozent",
    "report.figure.chattering": "flatternde Alarme",
    "report.figure.fleeting": "flüchtige Alarme",
    "report.figure.stale": "länger als einen Tag",
    "report.figure.most_standing": "zugleich, höchstens",
    "report.figure.unanswered": "nie quittiert",
    "report.figure.half": "bis zur Quittierung, die Hälfte binnen",
    "report.figure.most": "bis zur Quittierung, neun von zehn binnen",
    "report.head.due": "Was als Nächstes fällig ist",
    "report.due_not_known": "Was fällig ist, lässt sich nicht sagen: eine frühere Version schrieb Einträge, denen diese nicht folgen kann.",
    "report.col.done": "zuletzt getan",
    "report.col.again": "wieder fällig",
}
