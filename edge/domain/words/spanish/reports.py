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
    "report.signed": "El puesto firmó el diario hasta la entrada {seq:d} el {at:date} a las {at}; huella de su clave: {key}.",
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
}
