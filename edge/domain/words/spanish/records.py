"""Spanish of why a record doesn't count, and of what a calibration's uncertainty is made of."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

RECORDS: Final[Mapping[str, str]] = {
    "led.condition": "{condition:condition}: {text}",
    "led.alarm": "{alarm:alarm}: {state:state}",
    "led.stands": "vale hasta el {until:date} {until}",
    "led.taken_as_rinsed": (
        "se toma por vaciado y enjuagado, como dice el registro de un tratamiento entero;"
        " si no fue así, registrarlo{typed: (rinsed=no)}"
    ),
    "led.no_last_date": "la última fecha de la etiqueta no está registrada (expires)",
    "led.due": "vuelve a tocar desde el {due:date}",
    "led.due_since": "pendiente desde el {due:date}",
    "led.no_trip_seen": (
        "el puesto no vio dispararse la toma de corriente {outlet} en los {within} anteriores; "
        "la prueba cuenta de todos modos, porque el archivo del puesto no pide ninguna"
    ),
    "led.may_start": "el puesto puede arrancar",
    "led.may_not_first": "el puesto aún no puede arrancar; primero: {first:lower}",
    "led.may_not_until": "el puesto aún no puede arrancar; previsto el {at:date} {at}",
    "led.may_not": "el puesto aún no puede arrancar",
    "record.form": "{fault}",
    "record.stands": "impide arrancar al puesto de todos modos",
    "record.somebody": "alguien",
    # what it names, and what nothing looks at
    "record.no_section": "nada lo vigila: el archivo del puesto no tiene [{section}]",
    "record.failed_service": (
        "nada vigila un mantenimiento no superado, salvo el de un filtro: registrar un bloqueo si el puesto no debe arrancar"
    ),
    "record.no_such_filter": "no existe tal filtro en este puesto: {named}{there}",
    "record.no_such_outlet": "no existe tal toma de corriente en este puesto: {named}{there}",
    "record.no_such_duty": "no existe tal obligación en la lista del archivo del puesto: {named}{there}",
    "record.has_no_duty": "; no tiene ninguna",
    "record.no_such_item": "no existe tal elemento de control en {typed:[daily_test] also}{forms:el archivo del puesto}: {named}{there}",
    "record.has_no_item": "; no tiene ninguno",
    "record.no_result": "su resultado no está en {unit}, la unidad de sus niveles{typed:: value='3 {unit}'}",
    "record.has_no_filter": "; no tiene filtro",
    "record.has_no_outlet": "; no tiene toma de corriente",
    "record.nearest": "; el más parecido: {near}",
    "record.there_are": "; hay {known}",
    # times
    "record.in_future": (
        "su hora está en el futuro: el reloj del puesto marca {clock:utc}; {typed:corregir `at`, u omitirlo para "
        "ahora}{forms:corregirla, o elegir ahora}"
    ),
    "record.clock_wrong": "el reloj del puesto marca {clock:utc}: ponerlo primero en hora",
    "record.strips_expired": "las tiras eran válidas hasta el {last}: controlar con otras",
    # tests, treatments, fills
    "record.port_failed_before": (
        "la conexión {ports:and} falló en la última prueba: medir de nuevo y {typed:decir en channel_ports}{forms:registrar} lo que salió"
    ),
    "record.ports_failed_before": (
        "las conexiones {ports:and} fallaron en la última prueba: medir de nuevo y {typed:decir en "
        "channel_ports}{forms:registrar} lo que salió"
    ),
    "record.opened_not_told": (
        "no dice cuándo se abrió su envase{typed: (opened=2026-03-14)}: de ello depende cuánto se conserva"
    ),
    "record.opened_after_fill": "su envase se abrió después del llenado: corregir {typed:`opened`}{forms:la fecha de apertura}",
    "record.trip_not_seen": (
        "el contacto de la toma de corriente {outlet} no se vio disparar en los {within} anteriores: pulsar su botón de prueba, rearmarla, "
        "y registrarlo entonces"
    ),
    "record.no_fill": "{filled} L no llenan un depósito de {holds} L: lo añadido es {typed:un disinfectant_top_up}{forms:un relleno}",
    "record.too_much": "{filled} L no caben en un depósito de {holds} L",
    "record.contact_ends_early": "su contacto termina antes de empezar",
    "record.contact_ends_late": "su contacto termina después de la propia hora del registro",
    "record.contact_does_not_fit": "{contact:.4g min} de contacto no caben entre su comienzo y su fin",
    "record.contact_too_short": "{contact:.4g min} de contacto; hacen falta {wanted:g min}",
    "record.contact_before_opening": (
        "sus {contact:.4g min} de contacto habrían empezado antes de abrirse el lado limpio ({record:record}, {before} antes del fin)"
    ),
    "record.not_rinsed": "no vaciado y enjuagado",
    "record.not_drained": "no vaciado",
    "record.not_residue_free": "su agua de enjuague no está libre de residuos",
    "record.not_told_afterwards": "no dice lo que aquí debe seguir al contacto: {what:and}",
    "record.no_contact_begun": "no hay contacto en curso: registrar primero su comienzo{typed: (step=begins)}",
    "record.no_contact_ended": "no ha terminado ningún contacto: registrar eso primero{typed: (step=ends)}",
    "record.contact_across_restart": (
        "no se puede saber cuánto duró: el puesto se reinició desde el paso anterior, y una de las fechas no es segura"
    ),
    "record.not_tested_before": "la prueba diaria de ese día no se había superado antes",
    # holds, work, corrections
    "record.others_to_release": (
        "el bloqueo de {by} lo debe levantar {quoted}: ese nombre, o uno que lo contenga ({signed}, {who}), tiene que "
        "{typed:estar en `by`}{forms:firmar}"
    ),
    "record.before_hold": "su fecha es anterior al comienzo del bloqueo ({began:utc})",
    "record.before_named_hold": "su fecha es anterior al comienzo del bloqueo {quoted} ({began:utc})",
    "record.nothing_held": "no hay nada bloqueado",
    "record.nothing_held_so": "no hay nada bloqueado con el nombre {quoted}{there}",
    "record.no_work": "no había trabajos declarados",
    "record.work_of_others": "los trabajos declarados son {others:and}: solo una de esas personas puede terminarlos",
    "record.of": "de {by}",
    "record.before_work": "su fecha es anterior al comienzo de los trabajos ({began:utc})",
    "record.nothing_to_correct": "{typed:`of`: ningún registro válido tiene esta seq}{forms:ningún registro válido tiene este número}",
    "record.others_to_correct": (
        "{typed:`of`: }este registro impide arrancar al puesto ({record:record}); solo {by}, que lo registró, puede retirarlo"
    ),
    # alarms
    "record.nothing_to_acknowledge": "normal, no hay nada que reconocer: {alarm:alarm}",
    "record.acknowledged_already": "ya reconocida por {by} el {at:utc}: {alarm:alarm}",
    "record.changes_nothing": "{state:state}, nada cambia: {alarm:alarm}",
    # readings by eye
    "entered.no_such_point": "no existe el punto {quoted}{near}",
    "entered.other_role": "{point} no tiene la función {quoted}: nombrar uno de los dos",
    "entered.of_another": (
        "{by} lo vio así ({value:contact}) sin nombrar ningún punto, o nombrando otro: introducir lo que vale ahora{typed: con "
        "role={role}}{forms:, sin punto}"
    ),
    "entered.by_sensor": (
        "{point} lo lee su sensor: nadie introduce sus lecturas; lo que un instrumento muestra al lado es una calibración{typed: "
        "con adjust=false}{forms: que solo comprueba}"
    ),
    "entered.too_old_for_point": "es más antigua de lo que puede ser una lectura de este punto",
    "entered.too_old_for_role": "es más antigua de lo que puede ser una lectura de esta función",
    "entered.no_such_role": "no existe la función {quoted}{near}",
    "entered.has_point": "{role:role} tiene un punto que leen personas: introducirlo {typed:con point={point}}{forms:para {point}}",
    "entered.nothing_not_fitted": "nada lo vigila: [not_fitted] del archivo del puesto no nombra nada",
    "entered.not_among_not_fitted": "nada lo vigila: [not_fitted] del archivo del puesto nombra {roles}",
    "entered.sensor_answers": "{point} lo lee su sensor, que responde: nadie introduce sus lecturas",
    "entered.before_last_heard": "es anterior a la última respuesta de {point}: leer de nuevo",
    "entered.decides_nothing": "nada vigila esto leído a la vista ({role:role}): {instead}",
    "role.fit_a_point": "instalar un punto de medida para ello",
    "entered.cant_be": "{typed:value}{forms:el valor} es {given}, y no puede ser: {role:role} está entre {low:g} y {high:g} {unit}",
    "entered.outside_point": "{typed:value}{forms:el valor} es {given}: fuera de lo que este punto puede ser",
    "entered.no_value": "falta {typed:value}{forms:el valor}: lo que se leyó",
    "entered.no_such_word": "{typed:value}{forms:el valor} es {given}, ni {one} ni {other}",
    "entered.without_unit": '{typed:value}{forms:el valor} es {given} sin unidad; serviría por ejemplo "{such}"',
    "entered.not_a_temperature": "{typed:value}{forms:el valor} es {given}, no una temperatura con su unidad{hint}",
    "entered.not_a_pressure": "{typed:value}{forms:el valor} es {given}, no una presión con su unidad{hint}",
    "entered.not_a_flow": "{typed:value}{forms:el valor} es {given}, no un caudal con su unidad{hint}",
    "entered.not_a_conductivity": "{typed:value}{forms:el valor} es {given}, no una conductividad con su unidad{hint}",
    "entered.hint": " ({hint})",
    # calibrations
    "calibration.no_such_point": "no existe tal punto que calibrar: {quoted}",
    "calibration.nothing_read": "el punto no tiene lectura que calibrar",
    "calibration.beyond_any_sensor": (
        "corregiría {point} en {by}, y ningún sensor en orden se desvía más de {most}: revisar la referencia, el sensor y los ajustes del "
        "transductor"
    ),
    "calibration.beyond_one": (
        "corregiría {point} en {by}, y una sola comparación puede corregir {may}: comparar de nuevo en {again:.0f min} o más, o enviarlo "
        "con {typed:confirm, }un motivo de {words} palabras o más"
    ),
    "calibration.no_reference_u": "{typed:falta reference_u: }{forms:falta }la incertidumbre típica de la referencia",
    "calibration.reference_u_zero": (
        "{typed:reference_u}{forms:la incertidumbre de la referencia} es 0: ninguna referencia carece de incertidumbre"
    ),
    "calibration.due_at": (
        "{typed:due_at es {due}}{forms:la próxima no puede vencer el {due}}: vence de nuevo después de la comparación de "
        "{compared:utc}, en los años que le siguen (como máximo {years})"
    ),
    "calibration.falls": (
        "la lectura baja de {from_reading:.6g} a {to_reading:.6g} donde la referencia sube de {from_reference:.6g} a "
        "{to_reference:.6g}: lecturas y referencias no concuerdan"
    ),
    "calibration.slope": "las referencias piden una pendiente de {slope:.3g}: lecturas y referencias no concuerdan",
    "calibration.no_points": "falta points: una lista de referencia y lectura",
    "calibration.no_pair": "{given} no es un par de referencia y lectura",
    "calibration.no_list": "readings no es una lista",
    "calibration.reference_without_unit": (
        "{typed:reference}{forms:la referencia} es {given}, sin unidad: escribirla como se muestra, con su unidad"
    ),
    "calibration.reference_outside": (
        "{typed:reference}{forms:la referencia}: {given} está fuera de lo que {point} puede leer, {low:g} a {high:g} {unit}"
    ),
    "calibration.reading_without_unit": "reading es {given}, sin unidad, junto a una referencia en otra que {unit}",
    "calibration.reading_outside": "reading: {reading:g} {unit} está fuera de lo que {point} puede leer",
    "calibration.no_quantity": "{key} es {given}, no una magnitud",
    "calibration.below_zero": "{key} es menor que cero",
    "calibration.key": "{key}: {why}",
    # the parts of the uncertainty of a corrected reading
    "budget.reference": "la referencia, según su certificado",
    "budget.reference_step": "el paso de la referencia, tal como se leyó",
    "budget.step_compared": "el paso del punto, al compararlo",
    "budget.repeatability": "repetibilidad de la comparación",
    "budget.step": "el paso del punto, en uso",
    "budget.noise": "ruido de una lectura, en uso",
    "budget.fit": "el ajuste",
    "budget.distance": "distancia de las referencias a donde se usa",
    "budget.drift": "deriva hasta el próximo vencimiento",
    # what serves in place of a reading by eye
    "role.room_temperature.instead": "dar a la sala un punto en un bus de tipo entered, o coldest_room",
}
