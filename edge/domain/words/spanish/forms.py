"""What is refused of a record, and what its form says of itself. `refused.*` stands behind the name of the field that it is about."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

FORMS: Final[Mapping[str, str]] = {
    "refused.missing": "falta",
    "refused.number": "aquí va un número",
    "refused.whole": "aquí va un número entero",
    "refused.date": "esta fecha no existe: año, mes y día, o año y mes",
    "refused.time": "esta hora no existe",
    "refused.line": "aquí van de 1 a {most} caracteres",
    "refused.note": "aquí caben como máximo {most} caracteres",
    "refused.quantity": "aquí va un número con su unidad",
    "refused.listed": "elegir al menos uno de la lista",
    "refused.word": "aquí va uno de estos: {words}",
    "refused.between": "posible: {low:g} a {high:g}",
    "refused.least": "posible: {low:g} o más",
    "refused.beginning": "falta, junto al fin del contacto",
    "refused.empty": "está vacío: escribir algo, u omitirlo",
    "refused.says_nothing": "decir qué se hizo, o de qué obligación, filtro o punto se trataba",
    "refused.no_unit": "falta su unidad",
    "refused.concentration": "aquí va una concentración, en %, ppm, g/L, mg/L o mol/L; una tira que solo pasa o no pasa no necesita valor",
    "refused.basin": "este puesto no tiene tal cuba",
    "refused.other_quantity": "aquí va un resultado en {unit}, la unidad de sus niveles",
    "refused.long_ago": "sería hace más de {years} años: corregir el año",
    "refused.opened": "ningún envase abierto se conserva tanto tiempo: corregir la fecha",
    "refused.expires": "ninguna etiqueta llega tan lejos: volver a leerla",
    "form.daily_test": "La prueba diaria. Donde se midieron conexiones, deciden ellas, sea cual sea el resultado indicado.",
    "form.water_path_treatment": (
        "El circuito de agua se desinfectó, vació y enjuagó: cuándo empezó y terminó el contacto, o cuánto duró; o paso a paso."
    ),
    "form.filter_change": "Se cambiaron filtros: elegir cuáles.",
    "form.disinfectant_fill": "El depósito se llenó de nuevo: empieza una vida de reutilización.",
    "form.disinfectant_top_up": "Se añadió líquido. No empieza una nueva vida de reutilización.",
    "form.concentration_check": (
        "Se controló la concentración del desinfectante. Un control no superado vale hasta que uno se supere o se llene de nuevo."
    ),
    "form.calibration": "Se comparó un punto con una referencia.",
    "form.entered_reading": "Algo se leyó a la vista.",
    "form.outlet_test": (
        "Se probó una toma con protección diferencial mediante su botón de prueba. Una prueba no superada vale hasta que una se "
        "supere."
    ),
    "form.hold": "El puesto no puede arrancar hasta que se levante el bloqueo.",
    "form.release": "Levanta el bloqueo de este nombre, o el de esta cuba sola, o todos.",
    "form.equipment_change": "Aquí está otro equipo, o una pieza: lo aprendido se olvida; prueba, tratamiento y líquido quedan pendientes.",
    "form.service": "Algo se examinó o se reparó.",
    "form.work_begins": "Alguien trabaja en el puesto.",
    "form.work_ends": "El trabajo ha terminado.",
    "form.acknowledge": "Se vio una alarma.",
    "form.reset": "Una alarma que permanece hasta que alguien la rearma ha pasado.",
    "form.shelve": "Una alarma se aplaza por un rato.",
    "form.unshelve": "Un aplazamiento termina.",
    "form.out_of_service": "Una alarma se pone fuera de servicio.",
    "form.in_service": "Una alarma vuelve al servicio.",
    "form.correction": "Un registro fue un error y ya no cuenta.",
    "form.note": "Una nota.",
    "form.clock_confirmed": "La fecha del puesto es correcta, aunque dista meses de la última fiable.",
    "form.key.passed": "si se superó",
    "form.key.channel_ports": (
        'lo que dio cada conexión medida: [{{"port": 3, "seconds": 11.8}}], '
        'con "ml" donde no es el volumen del archivo del puesto'
    ),
    "form.key.checked": "los demás puntos de control del archivo del puesto que estaban bien: [daily_test] also",
    "form.key.failed": "los puntos de control que no estaban bien",
    "form.daily_test.basin": (
        "identificador de la cuba cuyas conexiones se numeran desde 1; "
        "sin indicarlo: todas, numeradas a través de todas las cubas"
    ),
    "form.key.basin": "identificador de la cuba, si se trata solo de ella; sin indicarlo: el puesto",
    "form.key.contact_min": "minutos de contacto",
    "form.key.began_at": "cuándo empezó el contacto",
    "form.key.ended_at": "cuándo terminó el contacto",
    "form.key.step": (
        "el contacto empieza, termina, o todo ha acabado (vaciado, enjuagado, mirado); cada paso tiene su propio `at`"
    ),
    "form.key.drained": "si se vació después del contacto",
    "form.key.rinsed": "si se vació y se enjuagó",
    "form.key.residue_free": "si se miró el agua de enjuague y está libre de residuos",
    "form.key.product": "cómo se llama en su etiqueta",
    "form.key.lot": "número de lote",
    "form.key.filters": 'identificadores de los filtros en el archivo del puesto: ["coarse","fine"]',
    "form.key.filter": "identificador del filtro en el archivo del puesto",
    "form.key.why": "por qué",
    "form.disinfectant_fill.expires": "la última fecha de la etiqueta",
    "form.concentration_check.expires": "la última fecha de las tiras",
    "form.key.opened": "cuándo se abrió su envase",
    "form.key.litres": "cuánto",
    "form.key.opened_clean_side": "si se abrió el lado limpio del circuito de agua",
    "form.key.stirred": "si se removió, para que la temperatura sea la del conjunto",
    "form.concentration_check.value": 'lo que se leyó, con su unidad, por ejemplo "0.35 %"',
    "form.entered_reading.value": 'lo que se leyó, con su unidad, por ejemplo "44 psi"; de un contacto, su palabra',
    "form.service.value": 'el resultado, con su unidad, por ejemplo "3 CFU/100 mL"',
    "form.key.unit": "unidad de un valor que no la lleva",
    "form.key.strip": "qué tira de prueba",
    "form.key.point": "identificador del punto",
    "form.entered_reading.point": "identificador del punto que se lee a la vista",
    "form.equipment_change.point": "identificador del punto cuyo sensor se montó",
    "form.key.points": (
        'valores de referencia, con lo que indicaba el punto: [{{"reference": "35.00 degC", "reading": "34.87 degC"}}]'
    ),
    "form.key.reference_u": "incertidumbre típica de la referencia, por ejemplo 0.05 K",
    "form.key.reference_resolution": "paso de la indicación de la referencia; sin indicarlo: según las cifras escritas",
    "form.key.confirm": "el motivo de una corrección inusual, por quien responde de ella",
    "form.key.drift_allowance": "cuánto puede derivar el punto hasta la próxima vez",
    "form.key.due_at": "cuándo vuelve a tocar; sin indicarlo: dentro de un año",
    "form.calibration.instrument": "el instrumento de referencia",
    "form.entered_reading.instrument": "en qué se leyó",
    "form.outlet_test.instrument": "con qué se probó",
    "form.key.certificate": "su certificado",
    "form.key.adjust": "false: una comprobación, no se ajusta nada",
    "form.key.role": "el papel de lo que se leyó; [not_fitted] lo nombra",
    "form.key.outlet": "qué toma, por ejemplo heater",
    "form.outlet_test.of": "lo mismo con otro nombre",
    "form.correction.of": "el número (seq) de su entrada",
    "form.key.trip_ms": "a los cuántos milisegundos se disparó",
    "form.key.trip_ma": "a cuántos miliamperios se disparó",
    "form.hold.name": "un nombre, donde puede haber varios; un levantamiento lo nombra",
    "form.release.name": "qué bloqueo",
    "form.key.released_by": "quién puede levantarlo",
    "form.equipment_change.what": "qué se cambió: loaner, swap, repair, sensor_fitted, …",
    "form.service.what": "qué se hizo: repair, …",
    "form.work_begins.what": "qué se hace",
    "form.work_ends.what": "qué se hizo",
    "form.key.serial": "número de serie de lo que llegó",
    "form.key.duty": "qué obligación de la lista propia del archivo del puesto se cumplió: [duty.…]",
    "form.key.alarm": "identificador de la alarma, por ejemplo outlet_tripped:heater",
    "form.key.minutes": "por cuánto tiempo",
    "form.key.text": "lo que vale la pena guardar",
    "form.key.time": "la hora de ahora, por un reloj que va bien",
}
