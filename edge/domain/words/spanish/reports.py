"""Spanish: reports."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

REPORTS: Final[Mapping[str, str]] = {
    "report.day": "Informe del día",
    "report.span": (
        "{day}, del {begins:date} {begins} al {ends:date} {ends}: {hours:.3g} horas según el reloj del puesto ({zone})"
    ),
    "report.not_over": "El día no había terminado cuando se hizo esto: se cuenta hasta las {at}.",
    "report.simulated": "Este es un puesto simulado: nada de esto ocurrió.",
    "report.head.verdict": "¿Podía arrancar el puesto?",
    "report.head.alarms": "Alarmas",
    "report.head.records": "Lo que se registró",
    "report.head.readings": "Lecturas mínimas y máximas",
    "report.head.reservoir": "Depósito",
    "report.head.draws": "Extracciones de agua",
    "report.head.heat_ups": "Calentamientos",
    "report.head.watch": "Cuándo nadie vigilaba",
    "report.head.incidents": "Qué más estorbó la vigilancia",
    "report.head.evidence": "Constancia",
    "report.head.signatures": "Visto por",
    "report.none": "ninguno",
    "report.word_lasted": "{word}: {span}",
    "report.unwatched": "sin vigilancia: {span}",
    "report.lasts": "seguía al final",
    "report.at_latest": "{at} a más tardar",
    "report.on_another_day": "{at:date} {at}",
    "report.at": "{at}",
    "report.event": "{at}: {state:state}",
    "report.event_by": "{at}: {state:state} ({by})",
    "report.event_again": "{at}: anunciada de nuevo",
    "report.does_not_count": "no cuenta: {why}",
    "report.water": "{volume:.1f L} en {number:d} extracciones",
    "report.volume": "{volume:.2f L}",
    "report.share": "{share:.1%}",
    "report.gap_stopped": "detenido: {why}",
    "report.gap_broken": "la marcha terminó sin aviso",
    "report.undated": (
        "{n:d} entradas que pueden ser de este día no tienen fecha fiable; `warmwell export journal` las lista."
    ),
    "report.untrusted": (
        "{n:d} entradas de este día se hicieron cuando el reloj del puesto no era fiable; sus "
        "horas son las que se conocen ahora."
    ),
    "report.entries": "{n:d} entradas del diario son de este día, de la {first:d} a la {last:d}.",
    "report.no_entries": "El diario no tiene ninguna entrada de este día.",
    "report.rests_on": "Este informe se basa en el diario hasta la entrada {seq:d}, huella {digest}.",
    "report.chain_holds": "La cadena del diario estaba íntegra al hacerlo.",
    "report.chain_broken": "La cadena del diario NO estaba íntegra al hacerlo: {why}. Nada de esto está probado.",
    "report.signed": (
        "El puesto firmó el diario hasta la entrada {seq:d} el {at:date} a las {at}; huella de su clave: {key}."
    ),
    "report.not_signed": "El puesto aún no ha firmado el diario.",
    "report.readings_apart": "Las lecturas no son parte de la cadena; lo que el puesto concluyó de ellas, sí.",
    "report.to_prove": "Para comprobarlo con el diario: warmwell verify REPORT --journal FOLDER",
    "report.made": "Hecho el {at:date} a las {at} por Warmwell {version}.",
    "report.only_watches": (
        "Warmwell solo vigila. Lo que se hace sigue las instrucciones de los fabricantes, la "
        "etiqueta y las normas del centro."
    ),
    "report.kind.clock_step": "reloj",
    "report.kind.bus": "bus",
    "report.kind.repair": "almacén",
    "report.kind.settings": "ajustes vigentes",
    "report.kind.settings_refused": "ajustes rechazados",
    "report.kind.contradiction": "sensores en duda",
    "report.kind.contradiction_over": "ya no en duda",
    "report.kind.power": "corriente",
    "report.kind.untold": "no comunicado",
    "report.kind.duty_dropped": "obligación",
    "report.col.from": "desde",
    "report.col.to": "hasta",
    "report.col.at": "a las",
    "report.col.word": "palabra",
    "report.col.why": "por qué",
    "report.col.alarm": "alarma",
    "report.col.priority": "prioridad",
    "report.col.cause": "causa",
    "report.col.answers": "qué fue de ella",
    "report.col.record": "registro",
    "report.col.by": "por",
    "report.col.told": "datos",
    "report.col.point": "sensor",
    "report.col.low": "mínimo",
    "report.col.high": "máximo",
    "report.col.covered": "del día",
    "report.col.lasted": "duración",
    "report.col.volume": "volumen",
    "report.col.flow": "caudal",
    "report.col.supply": "suministro",
    "report.col.drops": "caídas en los filtros",
    "report.col.what": "qué",
    "report.col.entry": "entrada",
    "report.col.name": "nombre",
    "report.col.date": "fecha",
    "report.col.signature": "firma",
    "report.period": "Informe del período",
    "report.period_span": (
        "{period}, del {begins:date} {begins} al {ends:date} {ends}: {days:d} días según el reloj del puesto ({zone})"
    ),
    "report.period_not_over": "El período no había terminado cuando se hizo esto: se cuenta hasta el {at:date} {at}.",
    "report.period_entries": "{n:d} entradas del diario son de este período, de {first:d} a {last:d}.",
    "report.period_no_entries": "El diario no tiene ninguna entrada de este período.",
    "report.period_undated": (
        "{n:d} entradas que pueden ser de este período no tienen fecha fiable; `warmwell export journal` las lista."
    ),
    "report.head.days": "Día a día",
    "report.head.causes": "Qué impedía arrancar",
    "report.head.performance": "Cómo funcionaron las alarmas",
    "report.head.duties": "Tareas vencidas",
    "report.head.filters": "Caídas de presión en los filtros",
    "report.head.work": "Cambios y mantenimiento",
    "report.ready_at_first": "Listo en el primer caso en {n:d} de los {of:d} días que tuvieron uno.",
    "report.closed": "cerrado",
    "report.still_to_come": "aún por venir",
    "report.not_known": "no vigilado",
    "report.causes_overlap": (
        "Varias pueden darse a la vez, así que estos tiempos se solapan. Se cuenta de un cambio de estado del "
        "puesto al siguiente: lo que se cumplió entretanto no está en ninguna entrada. No se sabe qué faltaba "
        "mientras nadie vigilaba."
    ),
    "report.figures_from": (
        "Cifras y objetivos son los de las normas de alarmas (ISA-18.2, IEC 62682), de memoria y de resúmenes públicos."
    ),
    "report.counted": "{number:d}, de los que contaron {counted:d}",
    "report.col.day": "día",
    "report.col.first_case": "en el primer caso",
    "report.col.unwatched": "no vigilado",
    "report.col.condition": "condición",
    "report.col.figure": "cifra",
    "report.col.value": "valor",
    "report.col.number": "número",
    "report.col.duty": "tarea",
    "report.col.filter": "filtro",
    "report.col.first": "al principio",
    "report.col.last": "al final",
    "report.figure.announced": "anunciadas",
    "report.figure.per_day": "al día, de media",
    "report.figure.most_in_period": "en diez minutos, como máximo",
    "report.figure.flooded": "tiempo en avalanchas, por ciento",
    "report.figure.chattering": "alarmas intermitentes",
    "report.figure.fleeting": "alarmas fugaces",
    "report.figure.stale": "más de un día",
    "report.figure.most_standing": "a la vez, como máximo",
    "report.figure.unanswered": "nunca reconocidas",
    "report.figure.half": "hasta el reconocimiento, la mitad en",
    "report.figure.most": "hasta el reconocimiento, nueve de diez en",
    "report.head.due": "Qué toca después",
    "report.due_not_known": "No se puede decir qué toca: una versión anterior escribió entradas que esta no puede seguir.",
    "report.col.done": "hecho por última vez",
    "report.col.again": "toca de nuevo",
}
