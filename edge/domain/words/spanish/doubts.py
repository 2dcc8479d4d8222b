"""Spanish of doubts: their causes, what ends them, and points and sections that leave a station unknown."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

DOUBTS: Final[Mapping[str, str]] = {
    "doubt.of": "{points}: {says}",
    "doubt.explained": "{point} se explica por un registro: {record:record}",
    # points that stand still
    "doubt.frozen": "{point} está congelado: quieto desde hace {still}, nunca antes más de {longest}",
    "doubt.stopped": "valores repetidos desde hace {still}, a partir de un mismo instante: {points}",
    "doubt.moves_again": "{point} se mueve de nuevo",
    "doubt.moves": "{point} se mueve",
    "doubt.toggling": (
        "{point} está atascado: dentro de un paso desde hace {rests}, antes no más de {longest} mientras su líquido oscilaba"
    ),
    "doubt.toggling.over": "{point} se mueve de nuevo más de un paso",
    # the reservoir's probes
    "doubt.restless": "{point} oscila {swing:g K} y más, arriba y abajo en minutos: ningún líquido hace eso",
    "doubt.restless.over": "{point} ya no oscila",
    "doubt.jumped": (
        "{point} pasó de {before} a {after} en {within} y se quedó allí: un calentador hace {heats:.2g} K/min como máximo"
    ),
    "doubt.jumped.back": "{point} ha vuelto de un salto",
    "doubt.unheated.rises": (
        "{point} ha subido {rise:.2g K} hasta {level}, {since} después de dispararse {outlets:and}: nada lo calienta"
    ),
    "doubt.unheated.stays": (
        "{point} se queda en {level}, {since} después de dispararse {outlets:and}: "
        "en {within} sin calentar baja al menos {least:.2g K}"
    ),
    "doubt.unheated.cools": "{point} se enfría como un líquido que nada calienta",
    # rooms and basins
    "doubt.room_warm": "{point} {says} ({here}): {than}",
    "doubt.room_warm.than_rooms": "las salas en uso no están más calientes",
    "doubt.room_warm.than_liquid": "junto a un líquido a {liquid}",
    "doubt.room_warm.over": "{point} indica de nuevo lo que una sala puede tener",
    "doubt.basin_cold": "{point} reposa a {here} en una sala a {room}: más frío en más de {colder:g K}, durante horas",
    "doubt.basin_cold.over": "{point} reposa de nuevo tan caliente como su sala",
    # meter and gauges
    "doubt.no_pulses": "{says}: descensos sin impulso: {falls}",
    "doubt.meter_shows_draw": "el contador muestra una toma de agua",
    "doubt.exchanged_unseen": "{says}; y el contador no dice nada del agua que fluye",
    "doubt.exchanged.over": "una toma de agua muestra las presiones en orden",
    "doubt.flow_no_drop.over": "una toma de agua se ve en los sensores de presión",
    "doubt.still_in_draw.over": "el valor se mueve con una toma de agua",
    "doubt.zero": "{points:and}: {says}: {off}",
    "doubt.zero.over": "los sensores de presión coinciden de nuevo en reposo",
    # what the last draw showed
    "doubt.unseen_low": "{here}, {says}",
    "doubt.static_low": "entrada de agua: {says}",
    "doubt.static_sunk": (
        "{here} sin toma de agua, {was} en la última toma: {says}, y una toma dejaría {left} de lo necesario, {least}"
    ),
    "doubt.static_sunk.over": "en reposo es de nuevo bastante alta",
    "doubt.short_low": "tomas de agua: {draws}, {says}, la última {last}",
    "doubt.draw_out": "{here}: {says}",
    "doubt.drawn_anew": "una toma de agua muestra la presión de nuevo",
    # filters
    "doubt.stage": "filtro {filter}: {says}",
    "doubt.stage.too_little": (
        "el filtro {filter} toma {takes}, uno limpio tomaba {took}: "
        "una carcasa vacía, un filtro roto o puenteado; si es correcto, registrar que se revisó"
    ),
    "doubt.stage.over": "el filtro {filter} toma presión al tomar agua",
    # points that no condition rests on
    "unjudged.second_of_role": "un segundo punto de la función {role:role}, de la que solo se juzga el primero",
    "unjudged.no_filter": "{role:role} se lee, pero ningún [[filter]] dice cuánto puede tomar un filtro",
    # sections that are missing
    "section.no_reservoir": "ninguna sección [reservoir] dice qué temperatura hace falta",
    "section.no_pressure": "ninguna sección [supply] dice qué presión hace falta",
    "section.no_flow": "ninguna sección [supply] dice qué caudal hace falta",
    "section.ask": "Añadir la sección al archivo del puesto",
}
