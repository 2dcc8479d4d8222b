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
}
