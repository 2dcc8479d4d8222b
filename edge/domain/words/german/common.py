"""German of what many parts say, of alarms and of points."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

COMMON: Final[Mapping[str, str]] = {
    "as_told": "{words}",
    "both": "{first}; {then}",
    "but": "{first}; aber {then}",
    "then": "{first}{then}",
    # the verdict
    "condition.why": "{condition:condition}: {text}",
    "condition.and_when": "{text} ({when})",
    "verdict.surroundings_only": "Nur die Umgebung: über alles Weitere entscheidet die Anleitung des Herstellers",
    "dropped.cant_be_told": "ob es geschuldet war, ist nicht feststellbar: diese Version kann die früheren Einstellungen nicht verwenden",
    # beside the verdict, where it can't be told or kept
    "note": "{said} {then}",
    "picture.starting": "Start: es wurde noch nichts gelesen",
    "picture.judge_silent": "Warmwell neu starten, oder das Systemjournal ansehen: die Beurteilung antwortet nicht",
    "picture.not_judged": "seit {since:.0f s} nicht beurteilt",
    "picture.failed": "Nicht feststellbar: das Bild der Station ist misslungen; siehe Systemjournal",
    "store.refuses": "Das Journal kann nicht geschrieben werden ({why}): {waiting}, Erfassungen werden abgewiesen.",
    "store.away": "Es kann nichts aufbewahrt werden: {why}",
    "store.hangs": "Der Datenträger antwortet seit {lasts:.0f s} nicht: {waiting}, Erfassungen ebenso.",
    "store.is_slow": "{waiting} seit {lasts:.0f s} auf den Datenträger.",
    "store.one_waits": "1 Eintrag wartet",
    "store.some_wait": "{entries} Einträge warten",
    "store.see_to_it": "Den Datenträger des Journals prüfen",
    # limits
    "limit.above": "über {limit}",
    "limit.below": "unter {limit}",
    "limit.too_near": "für die Unsicherheit zu nahe an {limit}",
    # what stands behind a value
    "nominal.uncalibrated": " (nicht kalibriert)",
    "nominal.expanded": " ± {u:.2g own}",
    "nominal.in_steps": "{told}, in Schritten von {step:.2g K}",
    "met_nominally": "{text}; nur nominell erfüllt: nicht kalibriert",
    # points that aren't heard
    "point.advice": "{point}: {advice}",
    "point.broken": "der Sensor {point} meldet sich nicht: {why}",
    "point.polled": " (abgefragt alle {every:g s})",
    "not_known": "nicht bekannt: {why}",
    "not_known_of": "nicht bekannt: {point}: {why}",
    # advice on a point
    "advice.coarse": "der Fühler liest in Schritten von {step:.3g K}{own}",
    "advice.coarse.own": " statt {own:.2g K}",
    "advice.coarse.advice": (
        "Den Fühler einige Sekunden von der Versorgung trennen, oder seine Auflösung (12 Bit) neu einstellen; einen, der so bleibt, "
        "ersetzen, oder seinen Schritt als `resolution` in die Stationsdatei schreiben. Bis dahin halten Bedingungen um so viel mehr "
        "Abstand von ihren Grenzwerten"
    ),
    "advice.wild": "einzelne schlechte Messwerte innerhalb einer Stunde: {times}; der letzte: {why}",
    # alarms
    "alarm.read_at": "{cause} (gelesen {at:date} {at})",
    "alarm.right_again": "wieder normal; zuvor: {was}",
    "alarm.gone": "in der Stationsdatei nicht mehr vorhanden",
    "alarm.absent_out_of_service": "liegt nicht an; außer Betrieb genommen{by}",
    "alarm.absent_in_service": "liegt nicht an; wieder in Betrieb{by}",
    "alarm.absent_shelved": "liegt nicht an; zurückgestellt{by}",
    "alarm.absent_unshelved": "liegt nicht an; nicht mehr zurückgestellt{by}",
    "alarm.absent_by": " durch {by}",
    "alarm.clock_untrusted.cause": "die Uhr ist nicht vertrauenswürdig",
}
