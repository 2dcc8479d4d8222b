"""Spanish of what many parts say, of alarms and of points."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

COMMON: Final[Mapping[str, str]] = {
    "as_told": "{words}",
    "both": "{first}; {then}",
    "but": "{first}; pero {then}",
    "then": "{first}{then}",
    # the verdict
    "condition.why": "{condition:condition}: {text}",
    "condition.and_when": "{text} ({when})",
    "verdict.surroundings_only": "Solo el entorno: del resto deciden las instrucciones del fabricante",
    "dropped.cant_be_told": "no se puede saber si era debido: esta versión no puede usar los ajustes anteriores",
    # beside the verdict, where it can't be told or kept
    "note": "{said} {then}",
    "picture.starting": "Arranque: todavía no se ha leído nada",
    "picture.judge_silent": "Reiniciar Warmwell, o ver el diario del sistema: la evaluación no responde",
    "picture.not_judged": "sin evaluar desde hace {since:.0f s}",
    "picture.failed": "Indeterminado: no se pudo establecer el estado del puesto; ver el diario del sistema",
    "store.refuses": "El diario no se puede escribir ({why}): {waiting}, los registros se rechazan.",
    "store.away": "No se puede guardar nada: {why}",
    "store.hangs": "El disco no responde desde hace {lasts:.0f s}: {waiting}, los registros también.",
    "store.is_slow": "{waiting} al disco desde hace {lasts:.0f s}.",
    "store.one_waits": "1 entrada espera",
    "store.some_wait": "{entries} entradas esperan",
    "store.see_to_it": "Revisar el disco del diario",
    # limits
    "limit.above": "por encima de {limit}",
    "limit.below": "por debajo de {limit}",
    "limit.too_near": "demasiado cerca de {limit} para su incertidumbre",
    # what stands behind a value
    "nominal.uncalibrated": " (sin calibrar)",
    "nominal.expanded": " ± {u:.2g own}",
    "nominal.in_steps": "{told}, en pasos de {step:.2g K}",
    "met_nominally": "{text}; cumplida nominalmente: sin calibrar",
    # points that aren't heard
    "point.advice": "{point}: {advice}",
    "point.broken": "el sensor {point} no responde: {why}",
    "point.polled": " (consultado cada {every:g s})",
    "not_known": "desconocido: {why}",
    "not_known_of": "desconocido: {point}: {why}",
    # advice on a point
    "advice.coarse": "lee en pasos de {step:.3g K}{own}",
    "advice.coarse.own": " en lugar de {own:.2g K}",
    "advice.coarse.advice": (
        "Desconectar la sonda de su alimentación unos segundos, o ajustar de nuevo su resolución (12 bits); sustituir la que siga así, o "
        "escribir su paso como `resolution` en el archivo del puesto. Hasta entonces las condiciones guardan esa distancia de más a sus "
        "límites"
    ),
    "advice.wild": "lecturas malas sueltas en una hora: {times}; la última: {why}",
    # alarms
    "alarm.read_at": "{cause} (leído el {at:date} {at})",
    "alarm.right_again": "de nuevo normal; antes: {was}",
    "alarm.gone": "ya no figura en el archivo del puesto",
    "alarm.absent_out_of_service": "no presente; puesta fuera de servicio{by}",
    "alarm.absent_in_service": "no presente; de nuevo en servicio{by}",
    "alarm.absent_shelved": "no presente; apartada{by}",
    "alarm.absent_unshelved": "no presente; ya no apartada{by}",
    "alarm.absent_by": " por {by}",
    "alarm.clock_untrusted.cause": "el reloj no es fiable",
}
