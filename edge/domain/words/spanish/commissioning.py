"""Spanish of the commissioning list: its items, what to do for each, and how they stand."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

COMMISSIONING: Final[Mapping[str, str]] = {
    "commissioning.not_yet": "Sin poner en servicio: quedan por hacer {left:d} de {all:d} puntos de la lista.",
    "commissioning.left": "sin poner en servicio: quedan por hacer {left:d} de {all:d} puntos de la lista",
    "commissioning.done": "puesta en servicio: cada punto de la lista está hecho",
    "commissioning.ask": "Recorrer la lista de puesta en servicio{typed: (warmwell commission)}",
    "commissioning.group.site": "Lugar",
    "commissioning.group.sensors": "Sensores",
    "commissioning.group.water": "Agua",
    "commissioning.group.heat": "Calor",
    "commissioning.group.system": "Alarmas, corriente, reloj",
    "commissioning.group.own": "Propio del centro",
    "commissioning.state.open": "por hacer",
    "commissioning.state.reopened": "por repetir",
    "commissioning.state.passed": "superado",
    "commissioning.state.failed": "no superado",
    "commissioning.state.not_applicable": "no aplicable",
    "commissioning.item.standpipe": "Vaciado a un tubo vertical",
    "commissioning.do.standpipe": (
        "Ver que la manguera de vaciado acaba en un tubo vertical al menos 30 cm (1 ft) por debajo de la salida de vaciado del equipo, "
        "sin bucles ni dobleces"
    ),
    "commissioning.item.shut_off": "Llave de paso",
    "commissioning.do.shut_off": "Ver que hay una llave de paso al alcance, que abre del todo y cierra bien",
    "commissioning.item.housings": "Espacio bajo los portafiltros",
    "commissioning.do.housings": "Ver que cada vaso puede bajarse y su cartucho sacarse sin que nada estorbe",
    "commissioning.item.reservoir_below": "Depósito por debajo de la cuba",
    "commissioning.do.reservoir_below": "Ver que el depósito está por debajo de la cuba, para que nada vuelva",
    "commissioning.each.outlet": "Toma {of} con protección diferencial",
    "commissioning.do.outlet": (
        "Pulsar el botón de prueba de la toma: el puesto tiene que ver su disparo. Rearmarla y registrarlo antes de una hora"
    ),
    "commissioning.item.outlets": "Tomas con protección diferencial",
    "commissioning.do.outlets": (
        "Ver que todo está en tomas con protección diferencial y que cada una dispara con su botón de prueba"
    ),
    "commissioning.item.filter_order": "Filtros en orden, apretados a mano",
    "commissioning.do.filter_order": (
        "Ver que el filtro grueso va antes que el fino en el sentido del agua y que los vasos están apretados a mano"
    ),
    "commissioning.item.no_leaks": "Sin fugas",
    "commissioning.do.no_leaks": "Con presión, mirar cada unión, vaso, manómetro y manguera: todo tiene que estar seco",
    "commissioning.item.clock": "Reloj",
    "commissioning.do.clock": "Comparar la hora del puesto con un reloj que va bien; el puesto tiene que fiarse del suyo",
    "commissioning.each.calibration": "Calibración de {of}",
    "commissioning.do.calibration": "Comparar con un instrumento de referencia y registrarlo{typed: (warmwell calibrate)}",
    "commissioning.each.zero": "Cero de {of}, al aire",
    "commissioning.do.zero": (
        "Cerrar la llave, aliviar la presión, abrir el sensor al aire, esperar a que esté quieto; luego tomar su lectura"
    ),
    "commissioning.each.step": "Salto de presión en {of}",
    "commissioning.do.step": (
        "Abrir la llave sin sacar agua: la lectura tiene que subir a la presión de la entrada de agua; luego tomarla"
    ),
    "commissioning.item.bucket": "Caudalímetro contra un cubo",
    "commissioning.do.bucket": (
        "Sacar agua al caudal habitual en un cubo con escala durante medio minuto o más; introducir litros y segundos, y lo que mostraba "
        "el caudalímetro, o dejarlo vacío para lo que dio la última toma de agua"
    ),
    "commissioning.item.static": "Presión en reposo",
    "commissioning.do.static": "No sacar agua durante unos minutos; luego tomar la lectura",
    "commissioning.item.dynamic": "Presión al sacar agua",
    "commissioning.do.dynamic": "Sacar agua al caudal habitual durante medio minuto o más; luego tomar lo que mostró",
    "commissioning.item.drawn": "Caudal al sacar agua",
    "commissioning.do.drawn": "Sacar agua durante medio minuto o más; luego tomar lo que mostró",
    "commissioning.item.capacity": "Lo que la entrada de agua puede dar",
    "commissioning.do.capacity": "Después de sacar agua, tomar el caudal que la entrada de agua da a la menor presión permitida",
    "commissioning.item.decay": "Caída de presión con la llave cerrada",
    "commissioning.do.decay": (
        "Cerrar la llave y no sacar agua; luego empezar: el puesto vigila la presión durante {time} y termina por sí mismo. O introducir "
        "cuánta era antes y después. Aliviar la presión antes de abrir nada"
    ),
    "commissioning.each.drop": "Caída de presión del filtro {of} limpio, como punto de partida",
    "commissioning.do.drop": "Con un cartucho nuevo, sacar agua durante medio minuto o más; luego tomar la caída",
    "commissioning.item.warm_up": "Un calentamiento completo, aprendido",
    "commissioning.do.warm_up": (
        "Dejar que el líquido se caliente desde la temperatura de la sala hasta su consigna con la tapa cerrada: el puesto aprende de ello"
    ),
    "commissioning.item.transfer": "Pérdida en el traslado, en el primer ciclo de un día",
    "commissioning.do.transfer": (
        "Con una sonda en la cuba, hacer el primer ciclo de un día según las instrucciones del fabricante: el puesto mide la pérdida. "
        "Con un termómetro de mano, introducir lo que mostró como nota. Sin ninguno de los dos no es aplicable"
    ),
    "commissioning.item.alarm_test": "Alarma vista por el sistema de instalaciones",
    "commissioning.do.alarm_test": (
        "Provocar una alarma, como con el botón de prueba de una toma, y que la vean y la reconozcan allí; si la respuesta no vuelve aquí "
        "por sí sola, introducir como nota quién la vio"
    ),
    "commissioning.item.restart": "Corte de corriente y nuevo arranque",
    "commissioning.do.restart": (
        "Sin ningún ciclo en marcha, cortar la alimentación del propio puesto y devolverla: tiene que volver por sí solo"
    ),
    "commissioning.caution.pressure": (
        "Con presión: aliviarla antes de abrir nada, protegerse los ojos. Las instrucciones del fabricante van primero"
    ),
    "commissioning.caution.mains": (
        "Tensión de red: no abrir nada; lo que esté mal es para personal autorizado. Las instrucciones del fabricante y las normas locales "
        "van primero"
    ),
    "commissioning.caution.heat": (
        "Líquido y vapor calientes: no tocar, mantener la tapa cerrada. Las instrucciones del fabricante van primero"
    ),
    "commissioning.caution.liquid": (
        "Desinfectante: guantes, gafas y ventilación según su etiqueta. Las instrucciones del fabricante van primero"
    ),
    "commissioning.source.practice": "práctica común, sin fuente publicada",
    "commissioning.source.station": "límite del archivo del puesto",
    "commissioning.source.site": "propio del centro",
    "commissioning.live": "medido por el puesto",
    "commissioning.entered": "introducido",
    "commissioning.timed": "{seen} ({limits}), cronometrado por el puesto",
    "commissioning.fallen": "cayó {fall} en {time} ({rate:.2f own} por minuto), de {first} a {last}",
    "commissioning.watched": "empezado con {here}",
    "commissioning.unusable": "no sirve: {why}",
    "commissioning.unusable.flowed": "corrió agua mientras la llave debía estar cerrada",
    "commissioning.unusable.lost": "la presión ya no se podía leer",
    "commissioning.unusable.rose": "la presión volvió a subir, como al abrir la llave",
    "commissioning.unusable.stopped": "se terminó antes de tiempo",
    "commissioning.unusable.restarted": "el puesto se reinició entretanto, o cambiaron sus ajustes",
    "commissioning.measured": "{here} ({limits}), {how}",
    "commissioning.between": "{low} a {high}",
    "commissioning.at_least": "al menos {low}",
    "commissioning.at_most": "como mucho {high}",
    "commissioning.share": "como mucho {most:.1%}",
    "commissioning.bucket_gave": "caudalímetro {off:+.1%} \u00b1 {u:.1%} contra el cubo ({limits}), {how}",
    "commissioning.seen_by_station": "visto por el propio puesto",
    "commissioning.compared": "comparado con una referencia",
    "commissioning.warm_ups": "aprendidos: {n:d}",
    "commissioning.transfers": "medidas: {n:d}",
    "commissioning.restarted": "volvió después de un corte de corriente",
    "commissioning.answered": "{alarm:alarm}: la reconoció un programa con su propia identidad",
    "commissioning.again": "{why}",
    "commissioning.file_changed": "cambiado desde entonces en el archivo del puesto: {section}",
    "commissioning.record_came": "desde entonces: {record:record}, {at:date}",
    "commissioning.no_such_item": "no hay tal punto en la lista del puesto: {named}{there}",
    "commissioning.journal_only": "el diario aún no muestra nada de ello, y solo él puede: hacerlo primero",
    "commissioning.nothing_told": ("{typed:no se dice ni passed ni not_applicable}{forms:no se dice si se superó}"),
    "commissioning.no_number": (
        "el puesto no tiene lectura de ello ahora: sacar agua, esperar al sensor, o introducir un valor"
    ),
    "commissioning.no_before": "no se dice la presión al cerrar la llave{typed: (before)}",
    "commissioning.no_bucket": "hacen falta los litros y los segundos",
    "commissioning.none_timed": "el puesto no cronometra nada ahora",
    "commissioning.already_timed": "el puesto ya lo cronometra",
    "commissioning.not_timed": "el puesto no cronometra este punto",
    "commissioning.no_pressure": "el puesto no tiene lectura de la presión ahora: revisar el sensor, o cronometrar a mano",
    "commissioning.water_runs": "corre agua: esperar a que pare, cerrar la llave y empezar entonces",
    "commissioning.little_pressure": (
        "la tubería tiene {here}, y por debajo de {least} una caída no dice nada: dejar que se llene, cerrar la llave y empezar entonces"
    ),
    "commissioning.bucket_too_coarse": (
        "incierto en {u:.1%}, más que el {most:.1%} permitido: volver a sacar agua, más y durante más tiempo"
    ),
}
