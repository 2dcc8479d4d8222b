"""Spanish of water: supply, filters, leak."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

WATER: Final[Mapping[str, str]] = {
    # what draws showed
    "draw.ask": "Sacar agua durante medio minuto",
    "draw.none": "aún no hay una toma de agua estable para juzgarlo",
    "draw.none_since_ran_on": "ninguna toma de agua desde que el agua corrió sin parar",
    "draw.too_long_ago": "la última toma de agua estable fue {age:when}",
    "draw.shown": "{here}{nominal} al tomar agua{inferred}",
    "draw.inferred": " (sin caudalímetro: supuesto mientras los filtros toman presión)",
    "draw.beyond": "{shown}, {beyond}",
    "draw.below.ask": "Abrir del todo la llave de paso; revisar la entrada de agua y los filtros; después sacar agua de nuevo",
    "draw.above.ask": "Hacer ajustar el regulador de la entrada de agua; después sacar agua de nuevo",
    "draw.alarm_since": "{shown}, pero hubo una alarma en una toma posterior cuyo final no se vio",
    # what stands at rest
    "pressure.static_high": "{here} sin toma de agua: demasiado alta",
    "pressure.static_high.ask": "Hacer ajustar el regulador de la entrada de agua",
    "pressure.static_was_high": "sin toma de agua estuvo por encima de {limit}",
    "pressure.static_beyond": "{here}{nominal} sin toma de agua, {beyond}",
    "pressure.static_not_yet_below": "{here}{nominal} sin toma de agua, aún no el tiempo suficiente por debajo de {limit}",
    "pressure.static_low": "{here}{nominal} sin toma de agua: por debajo de lo que una toma necesita, {least}",
    "pressure.static_low.ask": "Abrir la llave de paso; revisar la entrada de agua; después sacar agua durante medio minuto",
    # what is read by eye
    "supply.fall": (
        "la presión del suministro bajó {by} durante {lasted} sin que el caudalímetro mostrara una toma: "
        "{falls} de {wanted} descensos antes de dudar de él"
    ),
    "supply.fall.advice": "Tomar agua durante medio minuto y ver si el caudalímetro lo muestra",
    "supply.read": "{here}, leído por {by}",
    "supply.read_outside": "{here}, leído por {by}: fuera de sus límites",
    "supply.read_outside.ask": "Remediarlo y leer de nuevo",
    "supply.read_but_sunk": "{here}, leído por {by}, pero desde entonces {point} reposa por debajo del mínimo al tomar agua",
    "supply.read_but_sunk.ask": "Abrir del todo la llave de paso; después leer de nuevo",
    # what the supply can give, and how long a fill takes
    "supply.could_give": "; la entrada de agua podría dar {flow} a {least}",
    "supply.cannot_serve": "; la entrada de agua no basta: solo podría dar {flow} a {least}, hacen falta {wanted}",
    "supply.perhaps_cannot_serve": "; la entrada de agua quizá no baste: solo podría dar {flow} a {least}, hacen falta {wanted}",
    "supply.no_flow_meter": "sin caudalímetro",
    "supply.no_pressure": "sin presión de la entrada de agua",
    "supply.no_fall": "ninguna toma estable reciente que hiciera bajar la presión",
    "fill.too_few_draws": "aún hay demasiado pocas tomas de un mismo volumen",
    "fill.of": "para {litres:.2f L}{trend}",
    "fill.takes": "; un llenado de {litres:.1f L} tarda {lasts:.0f s}{trend}",
    "fill.longer": (
        "; tarda un {share:.0%} más que hace {days:.0f} días: un filtro que se carga, o una entrada de agua más débil"
    ),
    "fill.shorter": "; tarda un {share:.0%} menos que hace {days:.0f} días",
    # a filter's drop and age
    "filter.cause": "filtro {filter}: {why}{at_once}",
    "filter.change": "Cambiar el filtro {filter}",
    "filter.failed": "{by} lo revisó y lo encontró defectuoso",
    "filter.drop": "caída de presión {drop} al caudal de referencia",
    "filter.no_drop": "caída de presión desconocida",
    "filter.beyond": "{drop}, {beyond}",
    "filter.was_above": "tras estar por encima de {limit}",
    "filter.due_by_age": "último cambio {age:when}; por cambiar a los {months} meses",
    "filter.no_change": "{drop}; ningún cambio registrado",
    "filter.no_change.ask": "Registrar cuándo se cambió por última vez el filtro {filter}",
    "filter.fell": "su caída de presión bajó de {before} a {after}: roto, puenteado, o cambiado sin registro",
    "filter.fell.ask": "Registrar el cambio del filtro {filter}, o hacerlo revisar con sus juntas y registrar ese mantenimiento",
    "filter.fell_suddenly": "su caída de presión bajó de repente: roto, puenteado, o cambiado sin registro",
    "filter.gains": "{drop}: un filtro no puede ganar presión",
    "filter.gains.ask": "Comprobar si los conectores de los sensores de presión están cambiados entre sí",
    "filter.perhaps_above": "{drop}, quizá por encima de {limit}: {why}",
    "filter.perhaps_above.ask": "Medir la temperatura del agua",
    # all filters as one
    "filter.total": "caída de presión {total} en todos los filtros, sin presión entre ellos",
    "filter.total_above": "{total}: más que sus límites juntos",
    "filter.total_above.ask": "Cambiar los filtros; instalar un punto de presión entre ellos para saber cuál",
    "filter.alone_may_be": "{total}: este solo puede estar por encima de {limit}",
    "filter.alone_may_be.ask": "Instalar un punto de presión entre los filtros, o cambiar el filtro {filter}",
    "filter.lumped": "sin presión entre los filtros: solo se conoce la caída en todos ellos",
    "filter.lumped_drop": "sin presión entre los filtros: solo se conoce la caída en todos ellos: {total}",
    "filter.lumped_left": (
        "sin presión entre los filtros: solo se conoce la caída en todos ellos; queda hasta la suma de sus límites"
    ),
    # why a filter's drop isn't known, or what it is worth
    "filter.no_draw": "ninguna toma estable reciente para juzgar su caída de presión",
    "filter.no_draw_lumped": "ninguna toma estable reciente para juzgar la caída de presión de los filtros",
    "filter.no_draw_yet": "ninguna toma estable para juzgarlo",
    "filter.no_pressure": "sin presión delante o detrás de él",
    "filter.no_meter": (
        "sin caudalímetro: las caídas de presión no se pueden comparar, ni se conoce el volumen que pasó"
    ),
    "filter.no_supply": "no se reconoce ninguna toma: el archivo del puesto no tiene sección [supply]",
    "filter.no_supply.ask": "Añadir una sección [supply] al archivo del puesto",
    "filter.not_measured": "no se mide presión delante ni detrás de él",
    "filter.not_measured.ask": "Juzgarlo a la vista y por su edad",
    "filter.by_eye": "su caída de presión no se puede juzgar por lo que se lee a la vista",
    "filter.by_eye.ask": "Instalar un punto de medida ({role:role}), u omitir drop_limit",
    "filter.as_drawn": "tal como se toma: el archivo del puesto no da un caudal de referencia",
    "filter.flow_assumed": (
        "sin caudalímetro: se supone el caudal del archivo del puesto siempre que los filtros toman presión"
    ),
    "filter.no_zeros": "los sensores de presión nunca se vieron en reposo: sus ceros pueden estar incluidos",
    "filter.unsure": "aún hay demasiado pocas tomas para decir si es seguro",
    "filter.blind": "sin temperatura del agua: no referido a la viscosidad de referencia{cold}",
    "filter.blind.cold": ", y en esta época el {share:.0%} de la caída puede ser agua fría",
    # what a filter will still let through
    "filter.left": "; quedan unos {days:.0f} días ({low:.0f} a {high:.0f}), hasta el {until:date}{first}",
    "filter.left.first": ", el primero en alcanzar su límite",
    "filter.first": "el primero en alcanzar su límite",
    "filter.does_not_load": "; su caída de presión no sube: no se carga",
    "filter.hardly_grows": "su caída de presión apenas crece: más de lo que se puede decir",
    "filter.no_limit": "el archivo del puesto no da drop_limit",
    "filter.too_few_draws": "demasiado pocas tomas estables desde su cambio",
    "filter.too_few_days": "aún se han visto demasiado pocos días de uso",
    "filter.clock_untrusted": "el reloj no es fiable",
    "filter.due_by_age_in": "por su edad, por cambiar en (días): {days:.0f}",
    "filter.ten_years": "más de diez años",
    # changing all at once
    "filter.used": "{filter} {share:.0%}",
    "filter.used_most": "; {filter} es el que más ha gastado de su límite ({shares:and})",
    "filter.change_both": "{most}; cambiar ambos a la vez requiere un solo tratamiento del circuito de agua en lugar de varios",
    "filter.change_all": "{most}; cambiar todos a la vez requiere un solo tratamiento del circuito de agua en lugar de varios",
    # leaks
    "leak.ask": "Cerrar la llave de paso; averiguar de dónde viene el agua",
    "leak.wet": "{point} está mojado",
    "leak.seen_wet": "{by} vio agua",
    "leak.runs_on": (
        "el agua corre desde hace {span:.0f min} sin parar: una válvula no cierra, o una manguera está suelta"
    ),
    "leak.bled": (
        "la presión bajó de {before} a {after} en {within:.0f min} sin toma de agua: "
        "con la llave de paso cerrada, hay una fuga detrás de ella; con ella abierta, ha fallado la entrada de agua"
    ),
    "leak.passed": "pasaron {litres:.1f L} en {within:g h} sin toma de agua",
    "leak.drip": "pasaron {litres:.1f L} en {within:g h} sin parar y sin toma de agua",
    "leak.drip.advice": (
        "Cerrar la llave de paso por la noche y ver si cesa; revisar desagües, mangueras y la válvula de llenado del equipo"
    ),
    "leak.none": "no se ve ninguna fuga{polled}",
    "leak.none_but": "no se ve ninguna fuga; pero {drip}{polled}",
    "leak.none_unmetered": "no se ve ninguna fuga{polled}; ningún caudalímetro dice lo que pasa sin verse",
    "leak.none_read": "no se ve ninguna fuga; {by} leyó el contador",
    "leak.no_quiet_half_hour": "aún no hay media hora tranquila",
    "leak.least_flow": "el menor caudal de media hora sin toma de agua, en un día",
    "leak.least_flow_unsure": (
        "el menor caudal de media hora sin toma de agua, en un día; "
        "el archivo del puesto no da ni la resolución del contador ni su incertidumbre: no se puede decir si es seguro"
    ),
}
