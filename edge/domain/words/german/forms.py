"""What is refused of a record, and what its form says of itself. `refused.*` stands behind the name of the field that it is about."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

FORMS: Final[Mapping[str, str]] = {
    "refused.missing": "fehlt",
    "refused.number": "hier gehört eine Zahl hin",
    "refused.whole": "hier gehört eine ganze Zahl hin",
    "refused.date": "dieses Datum gibt es nicht: Jahr, Monat und Tag, oder Jahr und Monat",
    "refused.time": "diese Zeit gibt es nicht",
    "refused.line": "hier gehören 1 bis {most} Zeichen hin",
    "refused.note": "hier haben höchstens {most} Zeichen Platz",
    "refused.quantity": "hier gehört eine Zahl mit ihrer Einheit hin",
    "refused.listed": "mindestens eines aus der Liste wählen",
    "refused.word": "möglich ist hier eines davon: {words}",
    "refused.between": "möglich ist {low:g} bis {high:g}",
    "refused.least": "möglich ist {low:g} oder mehr",
    "refused.beginning": "fehlt neben dem Ende der Einwirkung",
    "refused.empty": "leer: etwas schreiben, oder weglassen",
    "refused.says_nothing": "angeben, was getan wurde, oder um welche Pflicht, welchen Filter oder welchen Messpunkt es ging",
    "refused.no_unit": "die Einheit fehlt",
    "refused.concentration": (
        "hier gehört eine Konzentration hin, in %, ppm, g/L, mg/L oder mol/L; ein Streifen, der nur besteht oder nicht, braucht "
        "keinen Wert"
    ),
    "refused.both": "daneben steht ein Ergebnis: eines von beiden weglassen",
    "refused.too_strong": "ein Desinfektionsmittel im Gebrauch hat höchstens {most}: noch einmal ablesen",
    "refused.cant_be": "möglich ist {low} bis {high}",
    "refused.basin": "ein solches Becken hat diese Station nicht",
    "refused.other_quantity": "hier gehört ein Ergebnis in {unit} hin, der Einheit seiner Grenzen",
    "refused.long_ago": "das wäre mehr als {years} Jahre her: das Jahr berichtigen",
    "refused.opened": "so lange hält sich kein geöffneter Behälter: das Datum berichtigen",
    "refused.expires": "so weit reicht kein Etikett: noch einmal ablesen",
    "form.daily_test": "Der Tagestest. Wo Anschlüsse gemessen wurden, entscheiden sie, welches Ergebnis auch angegeben ist.",
    "form.water_path_treatment": (
        "Der Wasserweg wurde desinfiziert, entleert und gespült: wann die Einwirkung begann und endete, oder wie lange sie "
        "dauerte; oder Schritt für Schritt."
    ),
    "form.filter_change": "Filter wurden gewechselt: welche, ist zu wählen.",
    "form.disinfectant_fill": "Das Reservoir wurde neu gefüllt: eine neue Standzeit beginnt.",
    "form.disinfectant_top_up": "Flüssigkeit wurde nachgefüllt. Eine neue Standzeit beginnt damit nicht.",
    "form.concentration_check": (
        "Die Konzentration des Desinfektionsmittels wurde geprüft. Eine nicht bestandene Prüfung gilt, bis eine besteht oder neu "
        "gefüllt wird."
    ),
    "form.calibration": "Ein Messpunkt wurde mit einer Referenz verglichen.",
    "form.entered_reading": "Etwas wurde vom Auge abgelesen.",
    "form.outlet_test": (
        "Eine Steckdose mit Fehlerstromschutz wurde mit ihrer Testtaste geprüft. Ein nicht bestandener Test gilt, bis einer "
        "besteht."
    ),
    "form.hold": "Die Station darf nicht starten, bis die Sperre aufgehoben wird.",
    "form.release": "Hebt die Sperre dieses Namens auf, oder die dieses Beckens allein, oder jede.",
    "form.equipment_change": (
        "Ein anderes Gerät, oder ein Teil davon, steht hier: Gelerntes ist vergessen; Test, Behandlung und Flüssigkeit stehen an."
    ),
    "form.service": "Etwas wurde angesehen oder in Ordnung gebracht.",
    "form.work_begins": "Jemand arbeitet an der Station.",
    "form.work_ends": "Die Arbeit ist zu Ende.",
    "form.acknowledge": "Ein Alarm wurde gesehen.",
    "form.reset": "Ein Alarm, der bleibt, bis ihn jemand zurücksetzt, ist vorbei.",
    "form.shelve": "Ein Alarm wird für eine Weile zurückgestellt.",
    "form.unshelve": "Eine Zurückstellung endet.",
    "form.out_of_service": "Ein Alarm wird außer Betrieb genommen.",
    "form.in_service": "Ein Alarm ist wieder in Betrieb.",
    "form.correction": "Eine Erfassung war ein Irrtum und zählt nicht mehr.",
    "form.note": "Eine Notiz.",
    "form.clock_confirmed": "Das Datum der Station stimmt, obwohl es Monate vom letzten verlässlichen entfernt ist.",
    "form.key.passed": "ob bestanden wurde",
    "form.key.channel_ports": (
        'was jeder gemessene Anschluss ergab: [{{"port": 3, "seconds": '
        '11.8}}], mit "ml", wo es nicht die Menge der Stationsdatei ist'
    ),
    "form.key.checked": "die weiteren Prüfpunkte der Stationsdatei, die in Ordnung waren: [daily_test] also",
    "form.key.failed": "die Prüfpunkte, die nicht in Ordnung waren",
    "form.daily_test.basin": (
        "Kennung des Beckens, dessen Anschlüsse ab 1 gezählt sind; ohne Angabe: alle, über alle Becken gezählt"
    ),
    "form.key.basin": "Kennung des Beckens, wenn es um dieses allein geht; ohne Angabe: die Station",
    "form.key.contact_min": "Minuten der Einwirkung",
    "form.key.began_at": "wann die Einwirkung begann",
    "form.key.ended_at": "wann die Einwirkung endete",
    "form.key.step": (
        "die Einwirkung beginnt, endet, oder es ist (entleert, gespült, "
        "angesehen) abgeschlossen; jeder Schritt hat sein eigenes `at`"
    ),
    "form.key.drained": "ob nach der Einwirkung entleert wurde",
    "form.key.rinsed": "ob entleert und gespült wurde",
    "form.key.residue_free": "ob das Spülwasser angesehen wurde und frei von Rückständen ist",
    "form.key.product": "wie es auf dem Etikett heißt",
    "form.key.lot": "Chargennummer",
    "form.key.filters": 'Kennungen der Filter in der Stationsdatei: ["coarse","fine"]',
    "form.key.filter": "Kennung des Filters in der Stationsdatei",
    "form.key.why": "warum",
    "form.disinfectant_fill.expires": "das letzte Datum auf dem Etikett",
    "form.concentration_check.expires": "das letzte Datum auf den Streifen",
    "form.key.opened": "wann der Behälter geöffnet wurde",
    "form.key.litres": "wie viel",
    "form.key.opened_clean_side": "ob die reine Seite des Wasserwegs geöffnet wurde",
    "form.key.stirred": "ob gerührt wurde, so dass die Temperatur die des Ganzen ist",
    "form.concentration_check.value": 'was abgelesen wurde, mit Einheit, etwa "0.35 %"',
    "form.entered_reading.value": 'was abgelesen wurde, mit Einheit, etwa "44 psi"; bei einem Kontakt sein Wort',
    "form.service.value": 'das Ergebnis, mit Einheit, etwa "3 CFU/100 mL"',
    "form.key.unit": "Einheit eines Werts, der ohne sie dasteht",
    "form.key.strip": "welcher Teststreifen",
    "form.key.point": "Kennung des Messpunkts",
    "form.entered_reading.point": "Kennung des Messpunkts, der vom Auge abgelesen wird",
    "form.equipment_change.point": "Kennung des Messpunkts, dessen Sensor eingebaut wurde",
    "form.key.points": 'Referenzwerte, je mit dem Messwert des Punkts: [{{"reference": "35.00 degC", "reading": "34.87 degC"}}]',
    "form.key.reference_u": "Standardunsicherheit der Referenz, etwa 0.05 K",
    "form.key.reference_resolution": "Schritt der Anzeige der Referenz; ohne Angabe: nach den geschriebenen Stellen",
    "form.key.confirm": "der Grund für eine ungewöhnliche Korrektur, von dem, der sie verantwortet",
    "form.key.drift_allowance": "wie weit der Messpunkt bis zum nächsten Mal driften darf",
    "form.key.due_at": "wann sie wieder fällig ist; ohne Angabe: in einem Jahr",
    "form.calibration.instrument": "das Referenzgerät",
    "form.entered_reading.instrument": "wovon abgelesen wurde",
    "form.outlet_test.instrument": "womit geprüft wurde",
    "form.key.certificate": "dessen Zertifikat",
    "form.key.adjust": "false: nur eine Prüfung, es wird nichts justiert",
    "form.key.role": "die Rolle dessen, was abgelesen wurde; [not_fitted] nennt sie",
    "form.key.outlet": "welche Steckdose, etwa heater",
    "form.outlet_test.of": "dasselbe unter anderem Namen",
    "form.correction.of": "die Nummer (seq) des Eintrags",
    "form.key.trip_ms": "nach wie vielen Millisekunden ausgelöst wurde",
    "form.key.trip_ma": "bei wie vielen Milliampere ausgelöst wurde",
    "form.hold.name": "ein Name dafür, wo es mehrere geben kann; eine Freigabe nennt ihn",
    "form.release.name": "welche Sperre",
    "form.key.released_by": "wer die Freigabe erteilen darf",
    "form.equipment_change.what": "was geändert wurde: loaner, swap, repair, sensor_fitted, …",
    "form.service.what": "was getan wurde: repair, …",
    "form.work_begins.what": "was getan wird",
    "form.work_ends.what": "was getan wurde",
    "form.key.serial": "Seriennummer dessen, was gekommen ist",
    "form.key.duty": "welche Pflicht der eigenen Liste in der Stationsdatei erfüllt wurde: [duty.…]",
    "form.key.alarm": "Kennung des Alarms, etwa outlet_tripped:heater",
    "form.key.minutes": "für wie lange",
    "form.key.text": "was sich aufzuheben lohnt",
    "form.key.time": "die Zeit jetzt, nach einer Uhr, die richtig geht",
    "form.commissioning": "Ein Punkt der Liste der Inbetriebnahme wurde angesehen oder gemessen.",
    "form.commissioning.value": 'was abgelesen wurde, mit Einheit, etwa "0.2 psi"; weggelassen: der Messwert der Station jetzt',
    "form.commissioning.instrument": "womit gemessen wurde",
    "form.key.item": "welcher Punkt, etwa standpipe oder zero:supply",
    "form.key.timing": (
        "bei einem Druckabfall, für den die Station die Zeit stoppt: es beginnt, sobald das Ventil geschlossen ist; oder es endet vor "
        "der Zeit"
    ),
    "form.key.before": 'bei einem Druckabfall: was beim Schließen des Ventils abgelesen wurde, etwa "52 psi"',
    "form.key.after": "was danach abgelesen wurde; weggelassen: der Messwert der Station jetzt",
    "form.key.seconds": "wie lange es dauerte",
    "form.key.litres_u": "Standardunsicherheit der Liter",
    "form.key.seconds_u": "Standardunsicherheit der Sekunden",
    "form.key.not_applicable": "warum es an dieser Station nicht anwendbar ist",
    "refused.unit": "ihre Einheit ist hier nicht bekannt",
    "refused.to_come": "das liegt nach der Uhr der Station noch in der Zukunft",
}
