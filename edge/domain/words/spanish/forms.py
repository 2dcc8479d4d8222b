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
}
