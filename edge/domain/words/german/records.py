"""German of why a record doesn't count, and of what a calibration's uncertainty is made of."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

RECORDS: Final[Mapping[str, str]] = {
    "led.condition": "{condition:condition}: {text}",
    "led.alarm": "{alarm:alarm}: {state:state}",
    "led.stands": "gilt bis {until:date} {until}",
    "led.taken_as_rinsed": (
        "gilt als entleert und gespült, wie es der Eintrag einer ganzen Behandlung sagt;"
        " war es nicht so, das erfassen{typed: (rinsed=no)}"
    ),
    "led.no_last_date": "das letzte Datum auf dem Etikett ist nicht erfasst (expires)",
    "led.due": "wieder fällig ab {due:date}",
    "led.due_since": "wieder fällig seit {due:date}",
    "led.no_trip_seen": (
        "die Station hat die Steckdose {outlet} innerhalb von {within:ago} davor nicht auslösen sehen; "
        "die Prüfung zählt trotzdem, weil die Stationsdatei keine verlangt"
    ),
    "led.may_start": "die Station darf starten",
    "led.may_not_first": "die Station darf noch nicht starten; zuerst: {first}",
    "led.may_not_until": "die Station darf noch nicht starten; erwartet {at:date} {at}",
    "led.may_not": "die Station darf noch nicht starten",
    "record.form": "{fault}",
    "record.stands": "es hält die Station trotzdem vom Start ab",
    "record.somebody": "jemand",
    # what it names, and what nothing looks at
    "record.no_section": "nichts achtet darauf: die Stationsdatei hat kein [{section}]",
    "record.failed_service": (
        "nichts achtet auf eine nicht bestandene Wartung, außer der eines Filters: eine Sperre erfassen, falls die Station nicht "
        "starten darf"
    ),
    "record.no_such_filter": "keinen solchen Filter gibt es an dieser Station: {named}{there}",
    "record.no_such_outlet": "keine solche Steckdose gibt es an dieser Station: {named}{there}",
    "record.no_such_duty": "keine solche Pflicht in der eigenen Liste der Stationsdatei: {named}{there}",
    "record.has_no_duty": "; sie hat keine",
    "record.no_such_item": "keinen solchen Prüfpunkt gibt es in {typed:[daily_test] also}{forms:der Stationsdatei}: {named}{there}",
    "record.has_no_item": "; es gibt dort keinen",
    "record.no_result": "das Ergebnis ist nicht in {unit} angegeben, worin die Grenzen stehen{typed:: value='3 {unit}'}",
    "record.has_no_filter": "; sie hat keinen Filter",
    "record.has_no_outlet": "; sie hat keine Steckdose",
    "record.nearest": "; am ähnlichsten: {near}",
    "record.there_are": "; es gibt {known}",
    # times
    "record.in_future": (
        "die Zeit liegt in der Zukunft: die Uhr der Station zeigt {clock:utc}; {typed:`at` berichtigen, oder für jetzt "
        "weglassen}{forms:sie berichtigen, oder jetzt wählen}"
    ),
    "record.clock_wrong": "die Uhr der Station zeigt {clock:utc}: zuerst richtig stellen",
    "record.strips_expired": "die Teststreifen waren haltbar bis {last}: mit anderen prüfen",
    # tests, treatments, fills
    "record.port_failed_before": (
        "Anschluss {ports:and} hat den letzten Test nicht bestanden: erneut messen und {typed:in channel_ports "
        "angeben}{forms:erfassen}, was kam"
    ),
    "record.ports_failed_before": (
        "die Anschlüsse {ports:and} haben den letzten Test nicht bestanden: erneut messen und {typed:in channel_ports "
        "angeben}{forms:erfassen}, was kam"
    ),
    "record.opened_not_told": (
        "wann der Behälter geöffnet wurde, fehlt{typed: (opened=2026-03-14)}: danach richtet sich, wie lange es haltbar ist"
    ),
    "record.opened_after_fill": "der Behälter wurde nach dem Einfüllen geöffnet: {typed:`opened`}{forms:das Datum der Öffnung} berichtigen",
    "record.trip_not_seen": (
        "der Kontakt der Steckdose {outlet} war innerhalb von {within:ago} davor nicht ausgelöst zu sehen: Testtaste drücken, zurücksetzen "
        "und dann erfassen"
    ),
    "record.no_fill": (
        "{filled} L sind keine Füllung eines Reservoirs von {holds} L: was zugegeben wurde, ist {typed:ein "
        "disinfectant_top_up}{forms:eine Nachfüllung}"
    ),
    "record.too_much": "{filled} L passen nicht in ein Reservoir von {holds} L",
    "record.contact_ends_early": "die Einwirkung endet, bevor sie beginnt",
    "record.contact_ends_late": "die Einwirkung endet nach der Zeit der Erfassung selbst",
    "record.contact_does_not_fit": "{contact:.4g min} Einwirkung passen nicht zwischen Beginn und Ende",
    "record.contact_too_short": "{contact:.4g min} Einwirkung; nötig sind {wanted:g min}",
    "record.contact_before_opening": (
        "die {contact:.4g min} Einwirkung hätten begonnen, bevor die reine Seite geöffnet wurde ({record:record}, {before} vor dem Ende)"
    ),
    "record.not_rinsed": "nicht entleert und gespült",
    "record.not_drained": "nicht entleert",
    "record.not_residue_free": "das Spülwasser ist nicht frei von Rückständen",
    "record.not_told_afterwards": "nicht angegeben ist, was hier auf die Einwirkung folgen muss: {what:and}",
    "record.no_contact_begun": "keine Einwirkung läuft: zuerst ihren Beginn erfassen{typed: (step=begins)}",
    "record.no_contact_ended": "keine Einwirkung ist beendet: zuerst das erfassen{typed: (step=ends)}",
    "record.contact_across_restart": (
        "wie lange es dauerte, ist nicht feststellbar: die Station wurde seit dem Schritt davor neu gestartet, und auf eines der Daten "
        "ist kein Verlass"
    ),
    "record.not_tested_before": "der Tagestest jenes Tages war davor nicht bestanden",
    # holds, work, corrections
    "record.others_to_release": (
        "die Sperre von {by} kann nur {quoted} aufheben: dieser Name, oder einer mit ihm ({signed}, {who}), muss {typed:in `by` "
        "stehen}{forms:unterschreiben}"
    ),
    "record.before_hold": "das Datum liegt vor dem Beginn der Sperre ({began:utc})",
    "record.before_named_hold": "das Datum liegt vor dem Beginn der Sperre {quoted} ({began:utc})",
    "record.nothing_held": "nichts ist gesperrt",
    "record.nothing_held_so": "unter dem Namen {quoted} ist nichts gesperrt{there}",
    "record.no_work": "es waren keine Arbeiten angemeldet",
    "record.work_of_others": "angemeldet waren Arbeiten {others:and}: nur eine dieser Personen kann sie beenden",
    "record.of": "von {by}",
    "record.before_work": "das Datum liegt vor dem Beginn der Arbeiten ({began:utc})",
    "record.nothing_to_correct": "{typed:`of`: keine geltende Erfassung hat diese seq}{forms:keine geltende Erfassung hat diese Nummer}",
    "record.others_to_correct": (
        "{typed:`of`: }diese Erfassung hält die Station vom Start ab ({record:record}); nur {by} hat sie erfasst und darf sie zurücknehmen"
    ),
    # alarms
    "record.nothing_to_acknowledge": "normal, es gibt nichts zu quittieren: {alarm:alarm}",
    "record.acknowledged_already": "schon quittiert von {by} um {at:utc}: {alarm:alarm}",
    "record.changes_nothing": "{state:state}, es ändert sich nichts: {alarm:alarm}",
    # readings by eye
    "entered.no_such_point": "es gibt keinen Messpunkt {quoted}{near}",
    "entered.other_role": "{point} hat nicht die Rolle {quoted}: nur eines von beiden nennen",
    "entered.of_another": (
        "{by} hat es so gesehen ({value:contact}) und keine oder eine andere Messstelle genannt: {typed:mit role={role} "
        "}eingeben, was jetzt gilt{forms:, ohne Messpunkt}"
    ),
    "entered.by_sensor": (
        "{point} wird von einem Sensor gelesen: niemand gibt Ablesungen dafür ein; was ein Messgerät daneben zeigt, ist eine "
        "Kalibrierung{typed: mit adjust=false}{forms:, die nur prüft}"
    ),
    "entered.too_old_for_point": "älter, als eine Ablesung dieses Messpunkts sein darf",
    "entered.too_old_for_role": "älter, als eine Ablesung dieser Rolle sein darf",
    "entered.no_such_role": "es gibt keine Rolle {quoted}{near}",
    "entered.has_point": "{role:role} hat einen Messpunkt, den Personen ablesen: {typed:mit point={point}}{forms:für {point}} eingeben",
    "entered.nothing_not_fitted": "nichts achtet darauf: [not_fitted] der Stationsdatei nennt nichts",
    "entered.not_among_not_fitted": "nichts achtet darauf: [not_fitted] der Stationsdatei nennt {roles}",
    "entered.sensor_answers": "{point} wird von einem Sensor gelesen, der antwortet: niemand gibt Ablesungen dafür ein",
    "entered.before_last_heard": "sie ist älter als die letzte Meldung von {point}: erneut ablesen",
    "entered.decides_nothing": "auf eine Ablesung davon achtet nichts ({role:role}): {instead}",
    "role.fit_a_point": "einen Messpunkt dafür einbauen",
    "entered.cant_be": (
        "{typed:value}{forms:der Wert} ist {given}, das kann nicht sein: {role:role} liegt zwischen {low:g} und {high:g} {unit}"
    ),
    "entered.outside_point": "{typed:value}{forms:der Wert} ist {given}: außerhalb dessen, was dieser Messpunkt sein kann",
    "entered.no_value": "{typed:value}{forms:der Wert} fehlt: was abgelesen wurde",
    "entered.no_such_word": "{typed:value}{forms:der Wert} ist {given}, weder {one} noch {other}",
    "entered.without_unit": '{typed:value}{forms:der Wert} ist {given} ohne Einheit; gültig wäre etwa "{such}"',
    "entered.not_a_temperature": "{typed:value}{forms:der Wert} ist {given}, keine Temperatur mit Einheit{hint}",
    "entered.not_a_pressure": "{typed:value}{forms:der Wert} ist {given}, kein Druck mit Einheit{hint}",
    "entered.not_a_flow": "{typed:value}{forms:der Wert} ist {given}, kein Durchfluss mit Einheit{hint}",
    "entered.not_a_conductivity": "{typed:value}{forms:der Wert} ist {given}, keine Leitfähigkeit mit Einheit{hint}",
    "entered.hint": " ({hint})",
    # calibrations
    "calibration.no_such_point": "keinen solchen Messpunkt zu kalibrieren gibt es: {quoted}",
    "calibration.nothing_read": "der Messpunkt hat keinen Messwert zu kalibrieren",
    "calibration.beyond_any_sensor": (
        "es würde {point} um {by} berichtigen, und kein Sensor in Ordnung liegt um mehr als {most} falsch: Referenz, Sensor und "
        "Einstellungen des Messumformers prüfen"
    ),
    "calibration.beyond_one": (
        "es würde {point} um {by} berichtigen, und ein Vergleich allein darf um {may} berichtigen: in {again:.0f min} oder später erneut "
        "vergleichen, oder {typed:mit confirm senden, einem Grund}{forms:einen Grund angeben,} aus mindestens {words} Wörtern"
    ),
    "calibration.no_reference_u": "{typed:reference_u fehlt: }die Standardunsicherheit der Referenz{forms: fehlt}",
    "calibration.reference_u_zero": "{typed:reference_u}{forms:die Unsicherheit der Referenz} ist 0: keine Referenz ist ohne Unsicherheit",
    "calibration.due_at": (
        "{typed:due_at ist {due}}{forms:am {due} kann die nächste nicht fällig sein}: wieder fällig ist es nach dem Vergleich "
        "von {compared:utc}, höchstens so viele Jahre danach: {years}"
    ),
    "calibration.falls": (
        "die Anzeige fällt von {from_reading:.6g} auf {to_reading:.6g}, während die Referenz von {from_reference:.6g} auf "
        "{to_reference:.6g} steigt: Anzeigen und Referenzen gehören nicht zusammen"
    ),
    "calibration.slope": (
        "die Referenzen verlangen eine Steigung von {slope:.3g}: Anzeigen und Referenzen gehören nicht zusammen"
    ),
    "calibration.no_points": "points fehlt: eine Liste aus Referenz und Anzeige",
    "calibration.no_pair": "{given} ist kein Paar aus Referenz und Anzeige",
    "calibration.no_list": "readings ist keine Liste",
    "calibration.reference_without_unit": (
        "{typed:reference}{forms:die Referenz} ist {given}, ohne Einheit: so schreiben, wie angezeigt, mit Einheit"
    ),
    "calibration.reference_outside": (
        "{typed:reference}{forms:die Referenz}: {given} liegt außerhalb dessen, was {point} lesen kann, {low:g} bis {high:g} {unit}"
    ),
    "calibration.reading_without_unit": "reading ist {given}, ohne Einheit, neben einer Referenz in einer anderen als {unit}",
    "calibration.reading_outside": "reading: {reading:g} {unit} liegt außerhalb dessen, was {point} lesen kann",
    "calibration.no_quantity": "{key} ist {given}, keine Größe",
    "calibration.below_zero": "{key} ist kleiner als null",
    "calibration.key": "{key}: {why}",
    # the parts of the uncertainty of a corrected reading
    "budget.reference": "die Referenz, nach ihrem Zertifikat",
    "budget.reference_step": "der Schritt der Referenz, wie abgelesen",
    "budget.step_compared": "der Schritt des Messpunkts beim Vergleich",
    "budget.repeatability": "Wiederholbarkeit des Vergleichs",
    "budget.step": "der Schritt des Messpunkts im Gebrauch",
    "budget.noise": "Rauschen eines Messwerts im Gebrauch",
    "budget.fit": "die Anpassung",
    "budget.distance": "Abstand von den Referenzen zum Gebrauchsbereich",
    "budget.drift": "Drift bis zur nächsten Fälligkeit",
    # what serves in place of a reading by eye
    "role.room_temperature.instead": "dem Raum einen Messpunkt an einem Bus der Art entered geben, oder coldest_room",
}
