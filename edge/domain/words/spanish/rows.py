"""Spanish of rows of facts: reasons of readings, checks between points, alarms. Their English stands in the rows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from edge.domain.words.language import RowWords, row_words

_REASONS: Final[Mapping[str, RowWords]] = {
    "no_reading_yet": ("aún sin lectura", "Esperar un periodo; después comprobar que el sensor está cableado y alimentado"),
    "stale": ("sin lectura desde hace demasiado", "Revisar el cable y la alimentación del sensor"),
    "not_entered": ("nadie ha introducido una lectura que aún valga", "Leerlo e introducirlo, con su unidad"),
    "no_answer": ("sin respuesta dentro del plazo", "Revisar cable, alimentación y dirección del sensor"),
    "bus_lost": ("su bus se ha perdido", "Volver a enchufar el adaptador; Warmwell lo intenta de nuevo por sí mismo"),
    "in_use": ("la línea o el puerto lo usa otro programa", "Detener el otro programa"),
    "garbled": ("la respuesta no se pudo entender", "Revisar velocidad en baudios, patrón y apantallamiento"),
    "empty_answer": ("una respuesta vacía", "Revisar el cable y la resistencia de pull-up del sensor"),
    "no_valid_answer": (
        "sin respuesta válida: cable cortado, sonda muerta o interferencia",
        "Revisar primero cable y conector de la sonda, después pull-up y apantallamiento; sustituir una sonda que siga muda",
    ),
    "crc": ("suma de comprobación errónea (CRC)", "Revisar longitud del cable, pull-up y apantallamiento"),
    "power_on_value": ("valor de encendido", "Revisar la alimentación y el pull-up del sensor"),
    "refused": (
        "la unidad rechazó la pregunta",
        "Comparar tipo y dirección del registro con el manual de la unidad; las direcciones cuentan desde 0",
    ),
    "absurd_number": (
        "un número que no puede ser una medida", "Comparar tipo y orden del registro con el manual de la unidad",
    ),
    "not_a_number": ("no es un número", "Revisar el formato de salida del transmisor"),
    "out_of_range": ("fuera de lo que este punto puede ser", "Revisar sensor, cableado y el ajuste range del punto"),
    "beyond_its_role": (
        "ni el agua fría corriente ni una sala en uso puede estar así",
        "Revisar cable, conector y lugar de la sonda; compararla con un instrumento de referencia",
    ),
    "impossible_rate": ("cambió más deprisa de lo posible", "Buscar un contacto flojo o una interferencia"),
    "stuck": (
        "no se ha movido nada desde hace demasiado", "Comparar con una referencia; sustituir el sensor si está congelado",
    ),
    "perhaps_stuck": ("no se ha movido nada desde hace un rato", "Comparar con un instrumento de referencia"),
    "loop_open": ("lazo de corriente abierto o fallo del transmisor", "Revisar el cableado del lazo y el transmisor"),
    "loop_over": ("lazo de corriente en cortocircuito o fallo del transmisor", "Revisar el cableado del lazo y el transmisor"),
    "under_range": ("por debajo del rango del transmisor", "Revisar rango y cero del transmisor"),
    "over_range": ("por encima del rango del transmisor", "Revisar rango y alcance del transmisor"),
    "sensor_open": ("sensor abierto: cable o elemento roto", "Revisar conector y cable del sensor; medir el elemento"),
    "under_supplied": (
        "el sensor tiene muy poca corriente",
        "Dar a la sonda su hilo de alimentación, o un pull-up más fuerte; acortar el cable",
    ),
    "supply_wrong": (
        "la tensión de alimentación del sensor es errónea",
        "Medir la alimentación del sensor en su conector; revisar fusible y cable",
    ),
    "shorted": ("línea del sensor en cortocircuito", "Buscar un cortocircuito en el cable del sensor"),
    "device_gone": (
        "el sensor o su dispositivo no está",
        "Revisar conector, cable y alimentación, y la dirección en el archivo del puesto",
    ),
    "io_error": (
        "la lectura falló (error de entrada y salida)", "Revisar cable y conectores; ver el diario del sistema",
    ),
    "no_access": (
        "el servicio no tiene permiso para leerlo",
        "Dar al usuario del servicio acceso al dispositivo, como hace la instalación",
    ),
    "lower_stop": (
        "el convertidor está en su tope inferior",
        "Revisar cableado y polaridad del sensor, y el rango de medida del convertidor",
    ),
    "upper_stop": (
        "el convertidor está en su tope superior",
        "Buscar un sensor abierto o una alimentación errónea, y revisar el rango de medida del convertidor",
    ),
    "loop_unclear": (
        "el lazo supervisado no está ni en reposo ni disparado",
        "Medir el lazo en la placa; revisar sus resistencias, uniones y cable por corrosión y agua",
    ),
    "no_such_line": ("el chip no tiene esa línea", "Revisar el número o el nombre de la línea en el archivo del puesto"),
    "edges_lost": (
        "se perdieron impulsos por el camino y se contaron por sus números",
        "Leer el contador más a menudo, o descargar la placa",
    ),
    "edges_noisy": (
        "más flancos de los que el contador puede dar",
        "Revisar cable, apantallamiento y pull-up del contador, y su caudal máximo en el archivo del puesto",
    ),
    "adapter_fault": (
        "el adaptador falló", "Ver el diario del sistema; comunicarlo con una reproducción de las lecturas",
    ),
    "contradicted": ("contradicho por otro punto", "Revisar ambos puntos"),
    "recorded_bad": ("registrado como malo", "Ver el motivo en la grabación"),
}  # fmt: skip

_DRAW: Final = "después sacar agua durante medio minuto"
_CHECKS: Final[Mapping[str, RowWords]] = {
    "no_pulses": (
        "la presión indica una toma de agua, el contador ninguna",
        f"Revisar el caudalímetro: su rotor, su cable y su pull-up; {_DRAW}",
    ),
    "drop_no_flow": (
        "los filtros toman presión, el contador dice que nada fluye",
        f"Revisar el caudalímetro y ambos sensores de presión; buscar agua que corra; {_DRAW}",
    ),
    "zero": (
        "se aparta de los demás en reposo: un cero se ha movido",
        "Comparar con un manómetro de referencia y registrarlo; comprobar que ninguna válvula entre los sensores está cerrada",
    ),
    "exchanged": (
        "la presión sube a lo largo de los filtros: puntos probablemente cambiados entre sí",
        f"Comprobar qué sensor de presión está enchufado dónde, y las líneas de los puntos en el archivo del puesto; {_DRAW}",
    ),
    "flow_no_drop": (
        "el contador dice toma de agua, ningún sensor de presión se mueve",
        f"Revisar el caudalímetro, los cables de los sensores de presión y sus válvulas de aislamiento; {_DRAW}",
    ),
    "still_in_draw": (
        "no se movió, o solo en su última cifra, mientras se tomaba agua",
        f"Revisar el sensor de presión, su cable y su válvula de aislamiento; {_DRAW}",
    ),
    "stage": (
        "no toma nada mientras el agua fluye: no instalado, puenteado, o ambos sensores al mismo lado",
        f"Comprobar que el filtro está instalado y dónde derivan sus sensores de presión; {_DRAW}",
    ),
    "static_low": (
        "estuvo demasiado baja sin toma de agua: lo que mostró la última toma ya no vale",
        f"Comprobar que la llave de paso está abierta; {_DRAW}",
    ),
    "static_sunk": (
        "ha bajado desde la última toma de agua",
        "Sacar agua de nuevo durante medio minuto; si la presión sigue baja, revisar la entrada de agua",
    ),
    "short_low": (
        "demasiado cortas para ser estables, todas mostraron menos de lo que una toma necesita",
        "Sacar agua durante medio minuto; si la presión sigue baja, abrir del todo la llave de paso y revisar la entrada de agua",
    ),
    "unseen_low": (
        "por debajo del mínimo mientras los filtros tomaban presión, y el contador no dijo nada de ello",
        f"Revisar el caudalímetro; {_DRAW}",
    ),
    "draw_out": ("fuera de sus límites en una toma cuyo final no se vio", "Sacar agua durante medio minuto"),
    "frozen": (
        "está más quieto que nunca", "Comparar con un instrumento de referencia; sustituir el sensor si está congelado",
    ),
    "stopped": (
        "quietos desde un mismo instante: lo que los lee repite sus últimas respuestas",
        "Reiniciar la pasarela o el adaptador, y revisar su cable y alimentación; después ver que los puntos se mueven",
    ),
    "unmoved": (
        "no se ha movido desde que se perdieron entradas del diario: quizá se sabía que estaba congelado",
        "Esperar a que se mueva, o compararlo con un instrumento de referencia",
    ),
    "toggling": (
        "se queda dentro de un paso, aunque su líquido oscila",
        "Comparar con un instrumento de referencia; sustituir el sensor si está atascado",
    ),
    "jumped": (
        "ha subido de un salto como ningún calentador calienta",
        (
            "Comparar la sonda con un instrumento de referencia y registrarlo como calibración; si se vertió líquido caliente, o se movió "
            "la sonda, registrarlo{typed: (disinfectant_fill, disinfectant_top_up, service con su punto)}"
        ),
    ),
    "restless": (
        "oscila varios kelvin como ningún líquido",
        "Revisar conector, cable y alimentación de la sonda; compararla con un instrumento de referencia",
    ),
    "unheated": (
        "sigue caliente aunque la toma de corriente de su calentador se ha disparado",
        "Comparar la sonda con un instrumento de referencia y registrarlo como calibración; ver qué toma alimenta el calentador",
    ),
    "basin_cold": (
        "reposa mucho más frío que su sala",
        (
            "Comparar las sondas de la cuba y de la sala con un instrumento de referencia, y registrarlo como calibración; comprobar que "
            "la cuba está vacía"
        ),
    ),
    "room_warm": (
        "indica más calor del que una sala puede tener junto al líquido",
        "Comprobar que la sonda de la sala cuelga libre, lejos del recipiente, del sol y de la calefacción",
    ),
}  # fmt: skip

_STOPS: Final = "El puesto no puede arrancar hasta que esté hecho"
_DO_IT: Final = "Hacerlo y registrarlo"
_ALARMS: Final[Mapping[str, RowWords]] = {
    "reservoir_cold": (
        "El contacto en la cuba estaría por debajo del mínimo de la etiqueta: ningún ciclo debe arrancar",
        "Comprobar que el calentador está encendido y su toma con tensión; esperar la hora prevista, o calentar la sala",
    ),
    "reservoir_hot": (
        "Fuera del intervalo de la etiqueta; endoscopios y líquido pueden sufrir; superficies calientes y vapor",
        "No arrancar; dejar enfriar; hacer revisar el termostato según las reglas del fabricante",
    ),
    "not_heating": (
        "No se calienta: ningún ciclo debe arrancar",
        (
            "Comprobar que el calentador está encendido y su termostato ajustado; cerrar la tapa; hacer revisar calentador y termostato "
            "por personal autorizado"
        ),
    ),
    "heating_weak": (
        "Calentar lleva más tiempo que antes: quizá falla un elemento, o la tapa está abierta",
        "Cerrar la tapa; contar con la hora más tardía; hacer revisar el calentador por personal autorizado",
    ),
    "late_for_first_case": (
        "El primer caso del día tiene que esperar",
        "Calentar ya donde no se calienta; cerrar la tapa, calentar la sala; decir a quien planifica los casos cuándo estará caliente",
    ),
    "pressure_low": (
        "Canales y enjuagues reciben muy poca agua",
        "Abrir del todo la llave de paso; ver si otros toman agua; revisar el regulador de la entrada de agua",
    ),
    "pressure_high": (
        "Racores y carcasas de filtros sufren esfuerzo",
        "Hacer ajustar el regulador de la entrada de agua; mantenerse lejos de carcasas bajo presión",
    ),
    "static_high": (
        "Racores y carcasas de filtros sufren esfuerzo sin toma de agua",
        "Hacer revisar el regulador de la entrada de agua; mantenerse lejos de carcasas bajo presión",
    ),
    "static_low": (
        "Menos en reposo de lo que una toma necesita: llenados y enjuagues recibirían muy poca agua",
        "Abrir la llave de paso; ver si el agua del edificio está cortada; después sacar agua durante medio minuto",
    ),
    "flow_low": (
        "Llenados y enjuagues tardan demasiado",
        "Abrir del todo la llave de paso; revisar las caídas de presión de los filtros",
    ),
    "flow_high": (
        "Quizá una manguera está suelta, o el factor del contador es erróneo", "Buscar agua que corra",
    ),
    "outlet_tripped": (
        "Sin corriente tras esta toma: lo que alimenta se para o se enfría",
        "Mantener las manos secas; no rearmar más de una vez: hacer buscar la causa por personal autorizado",
    ),
    "outlet_test_failed": (
        "Esta toma quizá no protege a las personas de una descarga; el puesto no debe arrancar",
        "No usar nada de lo que alimenta; hacerla reparar por personal autorizado, después probarla de nuevo y registrarlo",
    ),
    "leak": ("Agua donde no debería haberla", "Cerrar la llave de paso; secar; averiguar de dónde viene"),
    "filter_due": (
        "Los enjuagues se alargan; un filtro vencido puede dejar pasar lo que debería retener",
        "Cambiar el filtro según las instrucciones de su fabricante; después se debe el tratamiento del circuito de agua",
    ),
    "filter_fell": (
        "Un filtro roto o puenteado deja pasar lo que debería retener",
        "Si se cambió, registrar el cambio; si no, hacer revisar el filtro y sus juntas antes de usar agua",
    ),
    "silent": (
        "Se desconoce lo que este punto debería decir",
        "Comprobar que su conector encaja y su cable está entero; hasta que vuelva, leer a la vista lo que debería decir",
    ),
    "bus_lost": (
        "No se puede leer ninguno de sus puntos",
        "Volver a enchufar el adaptador en la placa; hasta que vuelva, leer a la vista lo que sus puntos deberían decir",
    ),
    "duty_due": (_STOPS, _DO_IT),
    "hold": ("El puesto está bloqueado y no debe arrancar", "Preguntar a quien lo bloqueó"),
    "backup_overdue": (
        "Si el disco de la placa falla, el registro desde la última copia se pierde",
        "Comprobar que el disco de la copia esté conectado y tenga espacio; a mano: warmwell backup DEST",
    ),
    "archive_silent": (
        "Lo que se registra aquí quizá esté solo en el disco de esta placa",
        "Comprobar que el archivo funcione y que el broker le deje decir lo que tiene; hasta entonces, hacer copias: warmwell backup DEST",
    ),
    "certificate_ends": (
        "Cuando haya terminado, los navegadores avisan de la página y los programas que lo comprueban dejan de consultarla",
        "Hacer que la autoridad del sitio lo renueve y colocar los archivos; uno propio: warmwell certificate make FILE",
    ),
    "disk_low": (
        "Las lecturas, más tarde el diario, no se pueden guardar",
        "Liberar espacio en el disco de la placa, o sustituir la tarjeta",
    ),
    "clock_untrusted": (
        "No se pueden saber los vencimientos", "Comprobar que la placa llega a su servidor de hora",
    ),
    "store": (
        "Lo que aquí se mide o registra quizá no se guarde; los registros pueden rechazarse",
        "Sustituir pronto la tarjeta o el disco; hasta entonces anotar en papel e introducirlo después",
    ),
    "untold": (
        "Quien se nombra no se entera de ninguna alarma lejos de aquí",
        "Comprobar que red, broker y destinos funcionan; warmwell tell FILE --test los prueba uno a uno",
    ),
    "duty_due.daily_test": (_STOPS, _DO_IT),
    "duty_due.daily_test_of_basin": ("La cuba {basin} no puede arrancar hasta que esté hecho", _DO_IT),
    "duty_due.calibration": (
        "Las condiciones que se apoyan en este punto se cumplen solo nominalmente hasta que se calibre",
        "Comparar el punto con una referencia y registrarlo",
    ),
    "duty_due.water_path_treatment": (_STOPS, _DO_IT),
    "duty_due.disinfectant_change": (_STOPS, _DO_IT),
    "duty_due.concentration_check": (_STOPS, _DO_IT),
    "duty_due.by_calendar": (
        "Lo que el centro ha dispuesto está vencido; el veredicto dice si el puesto puede arrancar de todos modos", _DO_IT,
    ),
}  # fmt: skip

ROWS: Final[Mapping[str, str]] = {
    **row_words(_REASONS, _CHECKS, _ALARMS),
    "alarm.reservoir_cold.beyond": "{here} en el depósito, por debajo de {limit}",
    "alarm.reservoir_hot.beyond": "{here} en el depósito, por encima de {limit}",
    "alarm.pressure_low.beyond": "{here} al tomar agua, por debajo de {limit}",
    "alarm.pressure_high.beyond": "{here} al tomar agua, por encima de {limit}",
    "alarm.static_high.beyond": "{here} sin toma de agua, por encima de {limit}",
    "alarm.flow_low.beyond": "{here} al tomar agua, por debajo de {limit}",
    "alarm.flow_high.beyond": "{here} al tomar agua, por encima de {limit}",
}
