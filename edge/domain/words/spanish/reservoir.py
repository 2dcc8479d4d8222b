"""Spanish of the heated liquid: the reservoir, its heating and cooling, and the transfer to the basin."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

RESERVOIR: Final[Mapping[str, str]] = {
    # the condition, by the first probe
    "reservoir.unheard": "la temperatura del depósito se desconoce: {why}{since}",
    "reservoir.doubtful": "{here}{nominal}, pero {why}",
    "reservoir.above_maximum": "{here}{nominal}, por encima del máximo permitido, {most}",
    "reservoir.below_maximum_too_short": "{here}{nominal}, aún no el tiempo suficiente por debajo del máximo permitido, {most}",
    "reservoir.above_maximum.ask": "Dejar enfriar; hacer revisar el termostato",
    "reservoir.above_label": "{here}{nominal}: la cuba tendría {basin}, por encima del máximo de la etiqueta, {most}",
    "reservoir.below_label_too_short": (
        "{here}{nominal}: la cuba tendría {basin}, aún no el tiempo suficiente por debajo del máximo de la etiqueta, {most}"
    ),
    "reservoir.above_label.ask": "Bajar la consigna dentro del intervalo de la etiqueta, o dejar enfriar",
    "reservoir.in_room": "sala a {room}, pérdida en el traslado {loss}",
    "reservoir.in_assumed_room": "sala supuesta a {room}, pérdida en el traslado {loss}",
    "reservoir.warm": "{here}{nominal}, hacen falta {needed}; {room}",
    "reservoir.unsure": "{here}{nominal}, {why}; hacen falta {needed}; {room}",
    "reservoir.unsure.room_cools": "pero la sala se enfría: el líquido puede estar más frío que su sonda",
    "reservoir.unsure.falling": "y bajando: el líquido puede estar más frío que su sonda",
    "reservoir.unsure.topped_up": ("pero rellenado: puede haber líquido frío bajo la sonda mientras no se vea subir"),
    "reservoir.too_cold": "{here}{nominal}; hacen falta {needed}; {room}; la cuba tendría {basin}",
    "reservoir.warm_too_short": (
        "{here}{nominal}, aún no el tiempo suficiente por encima de lo necesario, {needed}; {room}; la cuba tendría {basin}"
    ),
    "reservoir.no_power": "el calentador no tiene corriente",
    "reservoir.no_power.ask": "Restablecer la corriente del calentador",
    # by eye
    "reservoir.by_eye": "{here}, leído por {by}; hacen falta {needed}",
    "reservoir.by_eye.ask": "Esperar y leer de nuevo",
    "reservoir.too_hot_by_eye": "{what}, leído por {by}",
    "reservoir.too_hot_by_eye.ask": "Dejar enfriar y leer de nuevo",
    # what is needed isn't known
    "reservoir.needed_unknown": "se desconoce la temperatura necesaria: {why}",
    "reservoir.no_room": "nada dice qué temperatura tiene la sala",
    "reservoir.no_room.ask": "Añadir coldest_room a [reservoir] en el archivo del puesto, o instalar un punto de medida para la sala",
    # further probes
    "second_probe": "{point}: {here}{nominal}",
    "second_probe.unknown": "{point} se desconoce: {why}",
    "second_probe.doubtful": "{here}, pero {why}",
    "second_probe.above_maximum": "{here}, por encima del máximo, o aún no el tiempo suficiente por debajo",
    "second_probe.above_label": "{here}: la cuba tendría más de lo que la etiqueta permite, o lo tuvo hasta hace poco",
    "second_probe.too_cold": "{here}: no está bastante caliente allí, o aún no el tiempo suficiente",
    "second_probe.apart": "{here}: dos sondas de un mismo líquido que difieren en más de {by:g K} desde hace media hora",
    "second_probe.apart.ask": "Remover; comparar {first} y {point} con una referencia",
    # calibrations that a condition rests on
    "recalibrated.found": "{found:and}",
    "recalibrated.found.ask": "Comparar de nuevo con la referencia: {points:and}",
    "recalibrated.check_lower": "un control de {at} encontró {point} más bajo que su lectura en {by}, y no ajustó nada",
    "recalibrated.check_higher": "un control de {at} encontró {point} más alto que su lectura en {by}, y no ajustó nada",
    "recalibrated.comparison_lower": "una comparación de {at} encontró {point} más bajo en {by}, y espera una segunda",
    "recalibrated.comparison_higher": "una comparación de {at} encontró {point} más alto en {by}, y espera una segunda",
    "recalibrated.only_since": "cumplida solo desde la calibración de {at}: antes leía demasiado bajo",
    "met_nominally.past_due": "cumplida nominalmente: calibración vencida: {points:and}",
    # alarms
    "reservoir.cold": "{here}, por debajo de {limit}",
    "reservoir.away_too_long": "el líquido lleva fuera más tiempo de lo que dura un ciclo",
    "heating.not_rising": "{here} y sin subir",
    "heating.levelled_off": "se ha estabilizado cerca de {near}, la consigna es {set_point}",
    # late for the first case
    "late": "{here}, {why}",
    "late.just_after": "se espera justo después del primer caso de las {case}",
    "late.expected": "se espera a las {expected}, después del primer caso de las {case}",
    "late.never": "{why}: no a tiempo para el primer caso de las {case}",
    "late.not_warm_yet": "aún no está caliente para el primer caso de las {case}",
    "late.too_cold": "calienta, pero {why} está demasiado frío para estar caliente en el primer caso de las {case}",
    "late.not_heating": "no calienta, no está caliente para el primer caso de las {case}",
    "late.must_start": (
        "no calienta: hay que empezar a calentar a más tardar a las {by} ({why}) para estar caliente en el primer caso de las {case}"
    ),
    "heating.by_own_heat_ups": "según los calentamientos anteriores de este puesto",
    "heating.by_limit": "según el límite de calentamiento de {limit:g h}",
    # estimates
    "reservoir.source": "pérdida en el traslado {loss}",
    "reservoir.source_assumed_room": "con la sala más fría declarada; pérdida en el traslado {loss}",
    "reservoir.not_known": "la temperatura del depósito se desconoce",
    "reservoir.is_warm": "está caliente",
    "reservoir.heated_away": "el líquido calentado está fuera",
    "heating.no_first_case": "no hay primer caso para el que llegar a tiempo",
    "heating.under_way": "está calentando",
    "heating.overdue": "con retraso de {by}: hay que empezar a calentar ya; {why}",
    # until when it is warm
    "reservoir.no_reading": "sin lectura del depósito",
    "heating.not_yet.falling": "aún no se sabe: está bajando",
    "heating.not_yet.topped_up": "aún no se sabe: se ha rellenado",
    "heating.off": "no calienta",
    "heating.off.stopped_rising": "no calienta: dejó de subir cerca de {near}",
    "heating.just_begun": "aún no se sabe: acaba de empezar a calentar",
    "heating.too_little_seen": "aún no se sabe: se ha visto demasiado poco de este calentamiento",
    "heating.slower": "aún no se sabe: sube más despacio de lo que cabía esperar por lo visto",
    "heating.broken_off": (
        "aún no se sabe: calentaba y luego se enfrió, o el calentador se apagó; ¿estaba abierta la tapa, o se vertió líquido frío?"
    ),
    "heating.perhaps_never.set_point": (
        "se desconoce: la consigna de {set_point} está por debajo de lo necesario, {needed}; quizá no llegue"
    ),
    "heating.perhaps_never.slows_down": "aún no se sabe: quizá no llegue; se frena como para acabar cerca de {near}",
    "heating.perhaps_never.ends": "aún no se sabe: quizá no llegue; a este ritmo acaba cerca de {near}",
    "heating.never": "no llegará: {why}",
    "heating.never.set_point": "la consigna de {set_point} está por debajo de lo necesario, {needed}",
    "heating.never.levels_off": "se estabiliza cerca de {near}",
    "heating.never.ends": "a este ritmo acaba cerca de {near}",
    "heating.weak": "el calentador da el {share:.0f} % de lo que daba",
    "heating.loses_more": "pierde más calor que antes: ¿está abierta la tapa?",
    "heating.too_weak": "el calentador es demasiado débil, o la tapa está abierta",
    # a new estimate
    "heating.cooled": (
        "nueva estimación: algo enfrió el líquido por el camino; ¿estaba abierta la tapa, o se vertió líquido frío?"
    ),
    "heating.warmed": "nueva estimación: sube más deprisa que antes; ¿se cerró la tapa, o se vertió líquido caliente?",
    "heating.paused": "nueva estimación: el calentamiento se había detenido, o el líquido se enfrió",
    # until when it stays warm
    "reservoir.away": "el líquido está fuera",
    "cooling.too_little_seen": "aún no se sabe: se ha visto demasiado poco",
    "cooling.below_already": "ya está por debajo",
    "cooling.being_heated": "se está calentando",
    "cooling.not_cooling": "no se enfría",
    "cooling.thermostat_holds_it": "el termostato lo mantiene",
    "cooling.room_keeps_it_above": "la sala lo mantiene por encima",
    # a thermostat whose trough is too low
    "thermostat.set_point_would_do": (
        "el termostato lo deja bajar a {falls_to}; bastaría una consigna de {set_point}, o una sala más cálida"
    ),
    "thermostat.room_would_do": (
        "el termostato lo deja bajar a {falls_to}, y ninguna consigna del intervalo de la etiqueta bastaría: calentar la sala a {room}"
    ),
    "thermostat.nothing_would_do": (
        "el termostato lo deja bajar a {falls_to}, y ninguna consigna dentro del intervalo de la etiqueta bastaría"
    ),
    # the transfer loss
    "transfer_loss.by_the_file": "medida según el archivo del puesto",
    "transfer_loss.by_the_rule": "según la regla",
    "transfer_loss.cycle_measured": "primeros ciclos medidos: {cycles}",
    "transfer_loss.cycles_measured": "primeros ciclos medidos: {cycles}",
    "transfer_loss.by_cycle": "medida (primeros ciclos: {cycles})",
    "transfer_loss.by_cycles": "medida (primeros ciclos: {cycles})",
    # transfers that a basin's probe sees
    "transfer.probe_doubted": "la sonda de la cuba está en duda",
    "transfer.too_short": "el líquido estuvo demasiado poco tiempo, o se leyó demasiado poco de él",
    "transfer.reservoir_unread": "el depósito no se leyó antes",
    "transfer.cooled_too_fast": "la cuba se enfrió demasiado deprisa para contener el líquido",
    "transfer.room_unknown": "se desconoce la temperatura de la sala",
    "transfer.hardly_warmer": "el líquido estaba apenas más caliente que la sala",
    "transfer.followed": "la cuba mostraba la temperatura del propio depósito",
    "transfer.hardly_seen": "la sonda de la cuba apenas vio el líquido",
    "transfer.scattered": "las lecturas están demasiado dispersas",
    "transfer.forgotten": "{why}: se olvida la pérdida en el traslado medida (ciclos: {cycles}){filed}",
    "transfer.forgotten.filed": "; lo que el depósito necesita se establece de nuevo {loss}",
    "transfer.equipment_changed": "se cambió el equipo",
    "transfer.calibrated": "{point} fue calibrado",
    # the basin's probe
    "basin.short": "la cuba llegó a {here}, la etiqueta pide {least}",
    "basin.short.advice": "No contar este contacto; calentar más el depósito o la sala antes del siguiente",
    "basin.follows": "la sonda de la cuba muestra la temperatura del depósito",
    "basin.follows.advice": "Comprobar que la sonda de la cuba está en la cuba, y las líneas de los puntos en el archivo del puesto",
    "basin.swapped": "la sonda de la cuba muestra más que la del depósito: puntos probablemente cambiados entre sí",
    "basin.swapped.advice": (
        "Comprobar qué sonda está en el depósito y cuál en la cuba, y las líneas de los puntos en el archivo del puesto"
    ),
    "basin.is_basin_again": "la sonda de la cuba muestra de nuevo una cuba",
}
