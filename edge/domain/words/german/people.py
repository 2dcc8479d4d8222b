"""German of what people owe and hold, of machine, power and sensors, of what is read by eye, and of the daemon's facts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

PEOPLE: Final[Mapping[str, str]] = {
    # the daily test
    "daily_test.ask": "Den Tagestest durchführen und erfassen",
    "daily_test.none": "kein Tagestest erfasst",
    "daily_test.last_failed": "der letzte Tagestest wurde nicht bestanden: {why}",
    "daily_test.last_failed.ask": "Beheben, was nicht bestand, und den Tagestest wiederholen",
    "daily_test.port_failed.ask": (
        "Den Konnektor am Anschluss {ports:and} neu aufstecken, auf geknickten Schlauch und verstopften Kanal sowie auf Druck und "
        "Durchfluss des Zulaufs achten; dann den Tagestest wiederholen"
    ),
    "daily_test.ports_failed.ask": (
        "Druck und Durchfluss des Zulaufs prüfen, die Konnektoren an den Anschlüssen {ports:and} neu aufstecken, auf geknickte Schläuche "
        "und verstopfte Kanäle achten; dann den Tagestest wiederholen"
    ),
    "daily_test.items_failed.ask": "In Ordnung bringen, was nicht bestand ({items}), und den Tagestest wiederholen",
    "daily_test.last_tells_nothing": "der letzte Tagestest sagt nichts aus: {why}",
    "daily_test.due_after_power_up": "fällig: das Gerät wurde seit dem letzten eingeschaltet",
    "daily_test.due_after_change": "fällig: das Gerät wurde seit dem letzten gewechselt",
    "daily_test.due_after_seen_off": "fällig: {by} hat das Gerät seit dem letzten ohne Strom gesehen",
    "daily_test.due_today": "fällig: heute wurde keiner bestanden",
    "daily_test.power_unsure": (
        "ob das Gerät seit dem letzten eingeschaltet wurde, ist nicht bekannt: eine Zeit lang war nichts über seinen Strom zu erfahren"
    ),
    "daily_test.power_unsure.ask": (
        "Den Tagestest durchführen und erfassen; falls das Gerät sicher Strom behielt, stattdessen eine Freigabe erfassen, die keine "
        "Sperre nennt"
    ),
    "daily_test.clock_untrusted": "die Uhr ist nicht vertrauenswürdig: ob er heute bestanden wurde, ist nicht feststellbar",
    "daily_test.passed_ago": "bestanden vor {since:ago}",
    "daily_test.passed_measured_ago": "bestanden vor {since:ago}; der langsamste: {gave}",
    # what a daily test came to
    "daily_test.passed": "bestanden",
    "daily_test.failed": "nicht bestanden",
    "daily_test.recorded_as_failed": "als nicht bestanden erfasst",
    "daily_test.no_result": (
        "kein Ergebnis: weder {typed:passed noch channel_ports}{forms:ob er bestanden ist, noch was die Anschlüsse gaben}"
    ),
    "daily_test.no_port_measured": "kein Kanalanschluss gemessen: nötig ist, was jeder Anschluss gibt",
    "daily_test.too_few_ports": "gemessene Kanalanschlüsse: {measured} von {fitted}",
    "daily_test.no_list": "{typed:channel_ports}{forms:das Angegebene} ist keine Liste dessen, was Anschlüsse gaben",
    "daily_test.no_port": "{given} ist kein Kanalanschluss",
    "daily_test.port_without_number": "ein Kanalanschluss ohne seine Nummer: {given}",
    "daily_test.port_without_seconds": "ein Kanalanschluss ohne Sekunden: {given}",
    "daily_test.port_without_volume": "ein Kanalanschluss ohne Volumen: {given}",
    "daily_test.no_such_port": "es gibt keinen Kanalanschluss {port:d}: es sind 1 bis {fitted}",
    "daily_test.port_twice": "Anschluss {port:d} kommt zweimal vor",
    "daily_test.port_cant_be": "Anschluss {port:d}: {volume} mL in {time:g s} kann nicht sein",
    "daily_test.port_gave": "Anschluss {port:d} gab {volume} mL in {time:g s}",
    "daily_test.port_gave_about": "Anschluss {port:d} gab {volume} ± {uncertainty} mL in {time:g s}",
    "daily_test.items_failed": "nicht in Ordnung: {items}",
    "daily_test.items_missing": "nicht unter dem Geprüften: {items}",
    "daily_test.ports_failed": "{ports}; nötig sind mindestens {volume} mL in weniger als {time:g s}",
    # the water-path treatment
    "treatment.ask": (
        "Den Tagestest bestehen, dann den Wasserweg nach dem Etikett behandeln, entleeren und spülen, und das erfassen"
    ),
    "treatment.none": "weder eine Behandlung noch ein Öffnen der reinen Seite erfasst",
    "treatment.owed": "geschuldet, seit die reine Seite geöffnet wurde ({record:record})",
    "treatment.then.drained": "entleert",
    "treatment.then.rinsed": "gespült",
    "treatment.then.residue_free": "auf Rückstände geprüft und frei davon",
    "treatment.under_way": "die Einwirkung läuft: {left:until}",
    "treatment.tested.ask": "Den Wasserweg nach dem Etikett behandeln, entleeren und spülen, und das erfassen",
    "treatment.untested.ask": "Den Tagestest bestehen, dann das Ende der Einwirkung erfassen{typed: (water_path_treatment step=ends)}",
    "treatment.quiet": "{text}; bis {until:date} {until} meldet dieser Alarm nichts",
    "treatment.under_way.ask": (
        "Die Einwirkung im Wasserweg ablaufen lassen, dann ihr Ende erfassen{typed: (water_path_treatment step=ends)}"
    ),
    "treatment.contact_done": "die Einwirkung hat so lange gedauert, wie das Etikett verlangt; ihr Ende ist nicht erfasst",
    "treatment.contact_done.ask": "Das Ende der Einwirkung erfassen{typed: (water_path_treatment step=ends)}, dann entleeren und spülen",
    "treatment.waits": "die Einwirkung ist vorbei; noch nicht erfasst: {what:and}",
    "treatment.waits.ask": (
        "Nach dem Etikett weitermachen, dann erfassen, was getan wurde: {what:and}{typed: (water_path_treatment step=finished)}"
    ),
    "treatment.unfinished": "die Einwirkung ist vorbei; ihr Abschluss ist nicht erfasst",
    "treatment.unfinished.ask": "Entleeren und spülen, dann erfassen{typed: (water_path_treatment step=finished)}",
    "treatment.cant_be_timed": (
        "die Einwirkung begann vor einem Neustart; wie lange sie gedauert hat, ist nicht feststellbar"
    ),
    "treatment.done_ago": "durchgeführt vor {since:ago}",
    # the disinfectant
    "disinfectant.ask": "Das Desinfektionsmittel nach dem Etikett wechseln",
    "disinfectant.no_fill": "keine Füllung erfasst",
    "disinfectant.no_fill.ask": "Erfassen, wann das Desinfektionsmittel eingefüllt wurde",
    "disinfectant.check_failed": "die letzte Prüfung der Konzentration wurde nicht bestanden",
    "disinfectant.check_failed.ask": "Das Desinfektionsmittel nach dem Etikett wechseln, oder erneut prüfen und das erfassen",
    "disinfectant.equipment_changed": "das Gerät wurde gewechselt: welche Flüssigkeit darin ist, ist nicht bekannt",
    "disinfectant.equipment_changed.ask": "Die Füllung des Reservoirs erfassen, oder die Konzentration prüfen und das erfassen",
    "disinfectant.clock_untrusted": "die Uhr ist nicht vertrauenswürdig: das Alter ist nicht feststellbar",
    "disinfectant.reuse_ended": "die Standzeit endete {since:when}",
    "disinfectant.expired": "abgelaufen: laut Etikett war es haltbar bis {last}",
    "disinfectant.opened_too_long": "nicht mehr haltbar: der Behälter wurde am {opened} geöffnet",
    "disinfectant.opening_not_known": (
        "wann der Behälter geöffnet wurde, ist nicht erfasst: wie lange es haltbar ist, ist nicht feststellbar"
    ),
    "disinfectant.opening_not_known.ask": (
        "Die Füllung erneut erfassen, mit {typed:`opened`}{forms:dem Datum, an dem der Behälter geöffnet wurde,} und mit ihrer "
        "eigenen Zeit"
    ),
    "disinfectant.left_by_opening": "noch {left}: der Behälter wurde am {opened} geöffnet",
    "disinfectant.check_owed": "die Konzentration muss vor der nächsten Verwendung geprüft werden",
    "disinfectant.check_owed.ask": (
        "Die Konzentration des Desinfektionsmittels nach der Anleitung der Teststreifen prüfen und erfassen{typed: (concentration_check)}"
    ),
    "disinfectant.left_by_label": "noch {left}: laut Etikett haltbar bis {last}",
    "disinfectant.left": "noch {left} der Standzeit",
    # when something is due again
    "due.none": "nichts erfasst",
    "due.failed": "zuletzt am {done:date} von {by}: nicht bestanden",
    "due.now": "zuletzt durchgeführt am {done:date} von {by}; jetzt fällig",
    "due.done": "durchgeführt am {done:date} von {by}",
    "due.again": "durchgeführt am {done:date} von {by}; fällig ab {due:date}",
    # duties of the site's own list
    "duty.of": "{title}: {what}",
    "duty.ask": "{title}: durchführen und erfassen{typed: (service, duty={duty})}",
    "duty.none": "nichts erfasst",
    "duty.done": "durchgeführt vor {since:ago} von {by}; wieder fällig ab {due:date}",
    "duty.due": "fällig seit {due:date}; zuletzt durchgeführt {since:when} von {by}",
    "duty.failed": "zuletzt nicht bestanden ({by}, {since:when})",
    "duty.failed.ask": "{title}: beheben, was nicht bestand, wiederholen und erfassen{typed: (service, duty={duty})}",
    "duty.above_action": "{result}, über der Eingriffsgrenze von {level} ({by}, {since:when})",
    "duty.above_action.ask": (
        "{title}: handeln, wie der Standort es festgelegt hat, erneut beproben lassen und das Ergebnis erfassen{typed: (service, "
        "duty={duty})}"
    ),
    "duty.above_alert": "{result}, über der Warngrenze von {level} ({by}, {since:when}): nachgehen und erneut beproben",
    "duty.no_result_yet": "kein Ergebnis erfasst; das hält keine Station vom Start ab",
    "duty.not_above_action": "kein Ergebnis über der Eingriffsgrenze",
    "duty.clock_untrusted": "die Uhr ist nicht vertrauenswürdig: ob es fällig ist, ist nicht feststellbar",
    # a duty whose date can't be told
    "undated.never_set": "zuletzt erfasst, bevor die Uhr gestellt war: {record:record}",
    "undated.wrong_date": "zuletzt erfasst, während das Datum falsch war: {record:record}",
    "undated.ask": "Wiederholen, oder mit der richtigen Zeit erneut erfassen: {record:record}",
    # calibrations that are due
    "calibration.drifted": "{point} ist um {by} weggelaufen, erlaubt {allowed}",
    "calibration.past_due": "die Kalibrierung von {point} ist überfällig",
    # holds, and what only a person can answer for
    "hold.none": "keine Sperre",
    "hold.held": "gesperrt von {by}: {why}",
    "hold.held.ask": "Die Sperre aufheben lassen",
    "hold.no_reason": "kein Grund angegeben",
    "hold.overlooked": (
        "{by} hat erfasst: nicht bestanden ({record:record}{about}), und nichts in der Stationsdatei achtet darauf"
    ),
    "hold.overlooked_about": " {about:and}",
    "hold.overlooked_sight": "{by} sah: {value:contact} ({where:role}), und nichts in der Stationsdatei achtet darauf",
    "hold.overlooked.ask": (
        "Sicherstellen, dass in Ordnung gebracht wurde, was nicht bestand, und dass die Stationsdatei alles nennt, was da ist; wer es "
        "irrtümlich erfasst hat, berichtigt es; sonst eine Freigabe erfassen, die keine Sperre nennt"
    ),
    "loss.entries": "die Einträge {first:d} bis {last:d} des Journals gingen verloren",
    "loss.unproved": (
        "ob Einträge verloren gingen, ist nicht feststellbar, da die Vermerke über das Ende des Journals fehlen"
    ),
    "loss.restored": (
        "dieses Journal wurde aus einer Sicherung wiederhergestellt, die mit Eintrag {last:d} endet, und spätere Einträge fehlen"
    ),
    "loss.exchanged": "ein anderes Journal wurde hierher gelegt",
    "loss.may_be_among_them": "{what}: eine Sperre, ein nicht bestandener Test oder ein Filterwechsel kann darunter sein",
    "loss.ask": (
        "Fragen, wer hier gearbeitet hat, im Archiv oder Papierprotokoll nachsehen, Fehlendes erneut erfassen (Sperren, Tests, "
        "Filterwechsel); dann eine Freigabe erfassen, die keine Sperre nennt"
    ),
    "dropped.owed": "{condition:condition} ({why})",
    "dropped.since_changed": (
        "die Stationsdatei wurde geändert, während dies nicht erfüllt war, und verlangte es danach nicht mehr: {owed}"
    ),
    "dropped.ask": (
        "Sicherstellen, dass das Geschuldete getan ist oder nicht nötig ist und dass die Stationsdatei stimmt; dann eine Freigabe "
        "erfassen, die keine Sperre nennt"
    ),
    # the machine
    "machine.not_in_use": "nicht in Gebrauch",
    "machine.no_power": "das Gerät hat keinen Strom",
    "machine.no_power.ask": "Das Gerät einschalten",
    "machine.power_not_known": "ob das Gerät Strom hat, ist nicht bekannt",
    "machine.power_by_eye": "Strom: {told}",
    "machine.seen_off.ask": "Das Gerät einschalten und erneut ablesen",
    "machine.work_declared": "Arbeiten angemeldet von {by}",
    "machine.work_declared.ask": "Die angemeldeten Arbeiten beenden",
    "machine.cycle_running": "ein Zyklus läuft: die geheizte Flüssigkeit ist fort",
    "machine.drawing": "es wird Wasser entnommen",
    # outlets
    "outlet.live": "unter Spannung{polled}",
    "outlet.tripped": "ausgelöst",
    "outlet.tripped.ask": "Das Auslösen der Steckdose {outlet} prüfen lassen; einmal mit trockenen Händen zurücksetzen",
    "outlet.has_tripped": "die Steckdose {outlet} hat ausgelöst",
    "outlet.seen_tripped": "{by} hat gesehen, dass die Steckdose {outlet} ausgelöst hat",
    "outlet.seen.ask": (
        "sobald es vorbei ist, sie prüfen und das erfassen{typed: (outlet_test outlet={outlet})}, oder eingeben, dass sie in Ordnung ist"
        "{typed: (entered_reading role=outlet_protection value=ok)}"
    ),
    "outlet.seen_tripped.ask": (
        "Das Auslösen der Steckdose prüfen lassen; einmal mit trockenen Händen zurücksetzen; dann erneut ablesen"
    ),
    "outlet.comes_and_goes": "im Moment unter Spannung, aber sie löst immer wieder aus",
    "outlet.comes_and_goes.ask": "Die Steckdose {outlet} prüfen lassen",
    "outlet.not_steady_yet": "wieder unter Spannung, aber noch nicht lange genug, um als stabil zu gelten",
    "outlet.tripped_late": "sie löste bei {trip} mA aus; höchstens {most} mA schützen Personen",
    "outlet.test_none": (
        "{outlet}: kein Test erfasst: Testtaste drücken, auf das Auslösen achten, zurücksetzen und erfassen{typed: (outlet_test "
        "outlet={outlet})}"
    ),
    "outlet.test_due": (
        "{outlet}: Test fällig seit {due:date} (zuletzt {since:when} von {by}): Testtaste drücken, auf das Auslösen achten, "
        "zurücksetzen und erfassen"
    ),
    "outlet.test_failed": "der letzte Test wurde nicht bestanden",
    "outlet.test_not_passed": "der letzte Test wurde nicht bestanden: {why}",
    "outlet.test_failed_ago": "{failure} ({by}, {since:when})",
    "outlet.test_failed_as_recorded": "{outlet}: {failure}, erfasst von {by}",
    "outlet.test_failed.ask": (
        "Die Steckdose {outlet} von zugelassenem Fachpersonal instand setzen lassen, erneut testen und das erfassen"
    ),
    # sensors
    "sensors.heard": "alle melden sich",
    "sensors.deciding_heard": "alle, die entscheiden, melden sich; nicht: {silent}",
    "sensors.deciding_heard_or_read": "alle, die entscheiden, melden sich oder sind abgelesen; nicht: {silent}",
    "sensors.not_heard": "melden sich nicht: {points}",
    "sensors.because": "{point} ({why})",
    "sensors.no_reading_yet": "noch kein Messwert: {points}",
    "sensors.unjudged": "{point}: {why}",
    "sensors.unjudged.ask": "{point} aus der Stationsdatei nehmen, oder sie ergänzen",
    "silent.point": "{point}: {why}{detail}",
    "silent.detail": " ({detail})",
    "silent.slow": "ein Messwert kommt alle {every:g s}, später als die {limit:g s}, für die einer gilt",
    "silent.slow.advice": (
        "Öfter lesen, oder den Messpunkten in der Stationsdatei `every` und `stale_after` danach geben, wie oft sie gelesen werden"
    ),
    "silent.slow_points": "{points}: {what}; {advice}",
    "bus.lost": "der Bus {bus} ist ausgefallen",
    "bus.not_heard": "kein Messpunkt des Busses {bus} meldet sich mehr: {points}",
    "bus.none_heard": "kein Messpunkt der Station meldet sich mehr: {points}",
    # what is read by eye
    "by_eye.read_by": "{value:contact}, abgelesen von {by}",
    "by_eye.seen": "{value:contact}, gesehen von {by} {since:when}",
    "by_eye.seen.ask": "sobald es vorbei ist, eine Ablesung eingeben, die das sagt: {role:role}",
    "by_eye.no_reading_of_point": "keine Ablesung von {point}, die noch gilt",
    "by_eye.read_point": "{point} ablesen und eingeben",
    "by_eye.no_reading_of_role": "keine Ablesung, die noch gilt: {role:role}{since}",
    "by_eye.read_role": "Ablesen und eingeben: {role:role}",
    "by_eye.no_point": "kein Messpunkt hat die Rolle {role:role}",
    "by_eye.no_point.ask": "Einen Messpunkt der Rolle {role} einbauen, oder sie unter [not_fitted] nennen",
    "by_eye.overtaken": "; seit jemand es ablas: {what}",
    "since.filled_anew": "das Reservoir wurde neu gefüllt",
    "since.liquid_added": "Flüssigkeit wurde zugegeben",
    "since.equipment_changed": "das Gerät wurde gewechselt",
    "since.without_power": "die Heizung oder das Gerät war ohne Strom",
    # the daemon's facts
    "clock.trusted": "vertrauenswürdig",
    "clock.untrusted": "die Uhr ist noch nicht vertrauenswürdig: Fälligkeiten sind nicht feststellbar",
    "clock.untrusted.ask": (
        "Sicherstellen, dass die Platine ihren Zeitserver erreicht; wo ihr Datum Monate vom letzten entfernt und richtig ist, "
        "{typed:clock_confirmed erfassen}{forms:erfassen, dass die Uhr stimmt}"
    ),
    "alarm.disk_low.nearly_full": "der Datenträger ist fast voll: {disk}",
    "alarm.store.refuses": "das Journal kann nicht geschrieben werden: {why}",
    "alarm.store.hangs": "ein Schreibvorgang läuft seit {since:.0f s}: der Datenträger ist langsam oder hängt",
    "alarm.store.not_kept": "Messwerte werden nicht aufbewahrt: {why}",
    "alarm.store.read_only": "der Datenträger ist nur zum Lesen eingebunden: nichts kann aufbewahrt werden",
    "alarm.store.lost": "Messwerte gehen verloren: {readings:d} seit dem Start",
    "alarm.store.slow": "der Datenträger ist langsam: jeder zwanzigste Schreibvorgang dauert {took:.1f s} oder länger",
    "alarm.store.end_not_noted": (
        "das Ende des Journals kann nicht vermerkt werden, so könnte ein Verlust unbemerkt bleiben: {why}"
    ),
    "alarm.untold.not_reached": "der Broker wurde noch nicht erreicht",
    "alarm.untold.nobody": "niemand war zu erreichen{since} ({ways})",
    "alarm.untold.some": "nicht zu erreichen{since}: {who:and} ({ways})",
    "alarm.untold.since": " seit {since:date} {since}",
    "alarm.untold.way": "{who}: {why}",
    # basins, the page's certificate, whose a hold is
    "daily_test.in_basin": "Becken {basin}: {ask:lower}",
    "daily_test.not_told_of_basin": "keiner seiner Anschlüsse wurde gemessen: über das Becken {basin} ist nichts gesagt",
    "hold.basins_held": "Gesperrt, darf nicht starten: Becken {basins:and}",
    "hold.held_in": "Becken {basin} gesperrt von {by}: {why}",
    "hold.held_in.ask": "Die Sperre des Beckens {basin} aufheben lassen",
    "machine.no_work": "keine Arbeiten angemeldet",
    "machine.work_declared_in": "Arbeiten am Becken {basin} angemeldet von {by}",
    "machine.work_declared_in.ask": "Die angemeldeten Arbeiten am Becken {basin} beenden",
    "alarm.certificate_ends.soon": "das Zertifikat der Seite endet am {until:date}",
    "alarm.certificate_ends.over": "das Zertifikat der Seite endete am {until:date}",
    "alarm.backup_overdue.never": "es wurde noch keine Sicherung gemacht",
    "alarm.backup_overdue.last": "die letzte gute Sicherung ist vom {at:date}",
    "alarm.backup_overdue.why": "{what}; der letzte Versuch schlug fehl: {why}",
    "alarm.archive_silent.which": "keine Nachricht über seinen Bestand von {which}",
    "alarm.archive_silent.last": "{archive} (die letzte vom {at:date} {at})",
    "alarm.archive_silent.never": "{archive} (noch keine)",
    "record.no_such_basin": "kein solches Becken an dieser Station: {named}{there}",
    "record.has_no_basin": "; sie hat keines",
    "record.biomeds_to_release": "die Sperre von {by} ist die eines Medizintechnikers: nur ein angemeldeter Medizintechniker hebt sie auf",
    "record.nothing_held_in": "am Becken {basin} allein ist nichts gesperrt",
    "record.no_work_in": "am Becken {basin} waren keine Arbeiten angemeldet",
    # treatments that are not done, results and shelves that can't be reckoned with
    "treatment.not.drained": "nicht abgelassen, wie {by} erfasste",
    "treatment.not.rinsed": "nicht gespült, wie {by} erfasste",
    "treatment.not.residue_free": "nicht frei von Rückständen, wie {by} erfasste",
    "treatment.begun": "im Wasserweg kann Desinfektionsmittel sein: {by} erfasste eine Behandlung, die nicht abgeschlossen ist",
    "duty.cant_be_compared": "{result} lässt sich nicht mit dem Eingriffswert {level} vergleichen ({by}, {since:when})",
    "duty.cant_be_compared.ask": "{title}: das Ergebnis als Zahl mit Einheit erfassen, oder erneut beproben{typed: (service, duty={duty})}",
    "record.taken_back_already": "{typed:`of`: }diese Erfassung ({record:record}) wurde schon zurückgenommen",
    "record.never_counted": "{typed:`of`: }diese Erfassung ({record:record}) zählte nie, es gibt nichts zurückzunehmen",
    "record.shelf_over": (
        "die Zurückstellung hätte um {ended:utc} geendet: {typed:`at` weglassen}{forms:jetzt wählen}, oder mehr Minuten angeben"
    ),
}
