"""Spanish of what people owe and hold, of machine, power and sensors, of what is read by eye, and of the daemon's facts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

PEOPLE: Final[Mapping[str, str]] = {
    # the daily test
    "daily_test.ask": "Hacer la prueba diaria y registrarla",
    "daily_test.none": "ninguna prueba diaria registrada",
    "daily_test.last_failed": "la última prueba diaria no se superó: {why}",
    "daily_test.last_failed.ask": "Remediar lo que falló y repetir la prueba diaria",
    "daily_test.port_failed.ask": (
        "Volver a encajar el conector en la conexión {ports:and}, buscar un tubo doblado y un canal obstruido, y revisar presión y caudal "
        "de la entrada de agua; después repetir la prueba diaria"
    ),
    "daily_test.ports_failed.ask": (
        "Revisar presión y caudal de la entrada de agua, volver a encajar los conectores en las conexiones {ports:and}, buscar tubos "
        "doblados y canales obstruidos; después repetir la prueba diaria"
    ),
    "daily_test.items_failed.ask": "Poner en orden lo que falló ({items}) y repetir la prueba diaria",
    "daily_test.last_tells_nothing": "la última prueba diaria no dice nada: {why}",
    "daily_test.due_after_power_up": "pendiente: el equipo se encendió desde la última",
    "daily_test.due_after_change": "pendiente: el equipo se cambió desde la última",
    "daily_test.due_after_seen_off": "pendiente: {by} vio el equipo sin corriente desde la última",
    "daily_test.due_today": "pendiente: hoy no se ha superado ninguna",
    "daily_test.power_unsure": (
        "se desconoce si el equipo se encendió desde la última: durante un tiempo no se supo nada de su alimentación"
    ),
    "daily_test.power_unsure.ask": (
        "Hacer la prueba diaria y registrarla; si el equipo conservó con seguridad la corriente, registrar en su lugar un levantamiento "
        "que no nombre ningún bloqueo"
    ),
    "daily_test.clock_untrusted": "el reloj no es fiable: no se puede saber si hoy se superó",
    "daily_test.passed_ago": "superada hace {since}",
    "daily_test.passed_measured_ago": "superada hace {since}; la más lenta: {gave}",
    # what a daily test came to
    "daily_test.passed": "superada",
    "daily_test.failed": "no superada",
    "daily_test.recorded_as_failed": "registrada como no superada",
    "daily_test.no_result": "sin resultado: {typed:ni passed ni channel_ports}{forms:ni si se superó, ni lo que dieron las conexiones}",
    "daily_test.no_port_measured": "ninguna conexión de canal medida: hace falta lo que da cada conexión",
    "daily_test.too_few_ports": "conexiones de canal medidas: {measured} de {fitted}",
    "daily_test.no_list": "{typed:channel_ports}{forms:lo indicado} no es una lista de lo que dieron las conexiones",
    "daily_test.no_port": "{given} no es una conexión de canal",
    "daily_test.port_without_number": "una conexión de canal sin su número: {given}",
    "daily_test.port_without_seconds": "una conexión de canal sin segundos: {given}",
    "daily_test.port_without_volume": "una conexión de canal sin volumen: {given}",
    "daily_test.no_such_port": "no existe la conexión de canal {port:d}: van de 1 a {fitted}",
    "daily_test.port_twice": "la conexión {port:d} aparece dos veces",
    "daily_test.port_cant_be": "conexión {port:d}: {volume} mL en {time:g s} no puede ser",
    "daily_test.port_gave": "la conexión {port:d} dio {volume} mL en {time:g s}",
    "daily_test.port_gave_about": "la conexión {port:d} dio {volume} ± {uncertainty} mL en {time:g s}",
    "daily_test.items_failed": "no está bien: {items}",
    "daily_test.items_missing": "no figura entre lo comprobado: {items}",
    "daily_test.ports_failed": "{ports}; hacen falta al menos {volume} mL en menos de {time:g s}",
    # the water-path treatment
    "treatment.ask": (
        "Superar la prueba diaria, después tratar el circuito de agua según la etiqueta, vaciar y enjuagar, y registrarlo"
    ),
    "treatment.none": "ni tratamiento ni apertura del lado limpio registrados",
    "treatment.owed": "debido desde que se abrió el lado limpio ({record:record})",
    "treatment.then.drained": "vaciado",
    "treatment.then.rinsed": "enjuagado",
    "treatment.then.residue_free": "comprobado y libre de residuos",
    "treatment.under_way": "el contacto está en curso: {left:until}",
    "treatment.tested.ask": "Tratar el circuito de agua según la etiqueta, vaciar y enjuagar, y registrarlo",
    "treatment.untested.ask": "Superar la prueba diaria, después registrar el fin del contacto{typed: (water_path_treatment step=ends)}",
    "treatment.quiet": "{text}; esta alarma calla hasta el {until:date} {until}",
    "treatment.under_way.ask": (
        "Dejar correr el contacto en el circuito de agua, después registrar su fin{typed: (water_path_treatment step=ends)}"
    ),
    "treatment.contact_done": "el contacto ha durado lo que pide la etiqueta; su fin no está registrado",
    "treatment.contact_done.ask": "Registrar el fin del contacto{typed: (water_path_treatment step=ends)}, después vaciar y enjuagar",
    "treatment.waits": "el contacto ha terminado; aún sin registrar: {what:and}",
    "treatment.waits.ask": (
        "Continuar según la etiqueta, después registrar lo hecho: {what:and}{typed: (water_path_treatment step=finished)}"
    ),
    "treatment.unfinished": "el contacto ha terminado; que se ha acabado no está registrado",
    "treatment.unfinished.ask": "Vaciar y enjuagar, después registrarlo{typed: (water_path_treatment step=finished)}",
    "treatment.cant_be_timed": "el contacto empezó antes de un reinicio; no se puede saber cuánto ha durado",
    "treatment.done_ago": "hecho hace {since}",
    # the disinfectant
    "disinfectant.ask": "Cambiar el desinfectante según su etiqueta",
    "disinfectant.no_fill": "ningún llenado registrado",
    "disinfectant.no_fill.ask": "Registrar cuándo se llenó el desinfectante",
    "disinfectant.check_failed": "el último control de su concentración no se superó",
    "disinfectant.check_failed.ask": "Cambiar el desinfectante según su etiqueta, o controlarlo de nuevo y registrarlo",
    "disinfectant.equipment_changed": "se cambió el equipo: se desconoce qué líquido contiene",
    "disinfectant.equipment_changed.ask": "Registrar el llenado del depósito, o controlar su concentración y registrarlo",
    "disinfectant.clock_untrusted": "el reloj no es fiable: no se puede saber su edad",
    "disinfectant.reuse_ended": "su vida de reutilización terminó {since:when}",
    "disinfectant.expired": "caducado: según su etiqueta era válido hasta el {last}",
    "disinfectant.opened_too_long": "ya no se conserva: su envase se abrió el {opened}",
    "disinfectant.opening_not_known": (
        "no está registrado cuándo se abrió su envase: no se puede saber cuánto se conserva"
    ),
    "disinfectant.opening_not_known.ask": (
        "Registrar de nuevo el llenado con {typed:`opened`}{forms:la fecha de apertura de su envase}, y con su propia hora"
    ),
    "disinfectant.left_by_opening": "quedan {left}: su envase se abrió el {opened}",
    "disinfectant.check_owed": "hay que controlar su concentración antes del próximo uso",
    "disinfectant.check_owed.ask": (
        "Controlar la concentración del desinfectante según las instrucciones de sus tiras y registrarlo{typed: (concentration_check)}"
    ),
    "disinfectant.left_by_label": "quedan {left}: válido hasta el {last} según su etiqueta",
    "disinfectant.left": "quedan {left} de su vida de reutilización",
    # when something is due again
    "due.none": "nada registrado",
    "due.failed": "la última vez, el {done:date} por {by}: no superado",
    "due.now": "hecho por última vez el {done:date} por {by}; pendiente ahora",
    "due.done": "hecho el {done:date} por {by}",
    "due.again": "hecho el {done:date} por {by}; pendiente a partir del {due:date}",
    # duties of the site's own list
    "duty.of": "{title}: {what}",
    "duty.ask": "{title}: hacerlo y registrarlo{typed: (service, duty={duty})}",
    "duty.none": "nada registrado",
    "duty.done": "hecho hace {since} por {by}; pendiente de nuevo a partir del {due:date}",
    "duty.due": "pendiente desde el {due:date}; última vez {since:when} por {by}",
    "duty.failed": "la última vez no se superó ({by}, {since:when})",
    "duty.failed.ask": "{title}: remediar lo que falló, repetirlo y registrarlo{typed: (service, duty={duty})}",
    "duty.above_action": "{result}, por encima del nivel de acción de {level} ({by}, {since:when})",
    "duty.above_action.ask": (
        "{title}: actuar como el centro ha dispuesto, hacer tomar otra muestra y registrar el resultado{typed: (service, duty={duty})}"
    ),
    "duty.above_alert": (
        "{result}, por encima del nivel de alerta de {level} ({by}, {since:when}): investigarlo, y tomar otra muestra"
    ),
    "duty.no_result_yet": "ningún resultado registrado, lo que no impide arrancar a ningún puesto",
    "duty.not_above_action": "ningún resultado por encima de su nivel de acción",
    "duty.clock_untrusted": "el reloj no es fiable: no se puede saber si está pendiente",
    # a duty whose date can't be told
    "undated.never_set": "registrado por última vez antes de poner el reloj en hora: {record:record}",
    "undated.wrong_date": "registrado por última vez con la fecha equivocada: {record:record}",
    "undated.ask": "Repetir, o registrar de nuevo con su hora verdadera: {record:record}",
    # calibrations that are due
    "calibration.drifted": "{point} se ha desviado {by}, se permiten {allowed}",
    "calibration.past_due": "la calibración de {point} está vencida",
    # holds, and what only a person can answer for
    "hold.none": "sin bloqueo",
    "hold.held": "bloqueado por {by}: {why}",
    "hold.held.ask": "Hacer levantar el bloqueo",
    "hold.no_reason": "sin motivo indicado",
    "hold.overlooked": "{by} registró un fallo ({record:record}{about}), y nada en el archivo del puesto lo vigila",
    "hold.overlooked_about": " {about:and}",
    "hold.overlooked_sight": "{by} vio: {value:contact} ({where:role}), y nada en el archivo del puesto lo vigila",
    "hold.overlooked.ask": (
        "Asegurarse de que lo que falló se puso en orden, y de que el archivo del puesto nombra todo lo que hay; quien lo registró por "
        "error lo corrige; si no, registrar un levantamiento que no nombre ningún bloqueo"
    ),
    "loss.entries": "las entradas {first:d} a {last:d} del diario se perdieron",
    "loss.unproved": (
        "no se puede saber si se perdieron entradas, porque faltan las notas de dónde terminaba el diario"
    ),
    "loss.restored": (
        "este diario se restauró de una copia que termina en la entrada {last:d}, y las entradas posteriores faltan"
    ),
    "loss.exchanged": "aquí se puso otro diario",
    "loss.may_be_among_them": "{what}: entre ellas puede haber un bloqueo, una prueba no superada o un cambio de filtro",
    "loss.ask": (
        "Preguntar quién trabajó aquí, mirar el archivo central o el registro en papel, registrar de nuevo lo que falta (bloqueos, "
        "pruebas, cambios de filtro); después registrar un levantamiento que no nombre ningún bloqueo"
    ),
    "dropped.owed": "{condition:condition} ({why})",
    "dropped.since_changed": (
        "el archivo del puesto se cambió mientras esto no se cumplía, y después ya no lo pedía: {owed}"
    ),
    "dropped.ask": (
        "Asegurarse de que lo debido está hecho o no hace falta, y de que el archivo del puesto es correcto; después registrar un "
        "levantamiento que no nombre ningún bloqueo"
    ),
    # the machine
    "machine.not_in_use": "no está en uso",
    "machine.no_power": "el equipo no tiene corriente",
    "machine.no_power.ask": "Encender el equipo",
    "machine.power_not_known": "se desconoce si el equipo tiene corriente",
    "machine.power_by_eye": "alimentación: {told}",
    "machine.seen_off.ask": "Encender el equipo, y leerlo de nuevo",
    "machine.work_declared": "trabajos declarados por {by}",
    "machine.work_declared.ask": "Terminar los trabajos declarados",
    "machine.cycle_running": "hay un ciclo en marcha: el líquido calentado está fuera",
    "machine.drawing": "se está tomando agua",
    # outlets
    "outlet.live": "con tensión{polled}",
    "outlet.tripped": "disparada",
    "outlet.tripped.ask": (
        "Hacer investigar el disparo de la toma de corriente {outlet}; rearmarla una vez, con las manos secas"
    ),
    "outlet.has_tripped": "la toma de corriente {outlet} se ha disparado",
    "outlet.seen_tripped": "{by} vio disparada la toma de corriente {outlet}",
    "outlet.seen.ask": (
        "cuando haya pasado, probarla y registrarlo{typed: (outlet_test outlet={outlet})}, o introducir que está bien"
        "{typed: (entered_reading role=outlet_protection value=ok)}"
    ),
    "outlet.seen_tripped.ask": (
        "Hacer investigar el disparo de la toma de corriente; rearmarla una vez, con las manos secas; después leerla de nuevo"
    ),
    "outlet.comes_and_goes": "con tensión en este momento, pero su disparo va y viene",
    "outlet.comes_and_goes.ask": "Hacer revisar la toma de corriente {outlet}",
    "outlet.not_steady_yet": "de nuevo con tensión, pero aún no el tiempo suficiente para darla por estable",
    "outlet.tripped_late": "se disparó a {trip} mA; {most} mA como máximo protegen a las personas",
    "outlet.test_none": (
        "{outlet}: ninguna prueba registrada: pulsar su botón de prueba, ver que se dispara, rearmarla y registrarlo"
        "{typed: (outlet_test outlet={outlet})}"
    ),
    "outlet.test_due": (
        "{outlet}: su prueba está pendiente desde el {due:date} (última {since:when} por {by}): pulsar su botón de prueba, ver que se "
        "dispara, rearmarla y registrarlo"
    ),
    "outlet.test_failed": "su última prueba no se superó",
    "outlet.test_not_passed": "su última prueba no se superó: {why}",
    "outlet.test_failed_ago": "{failure} ({by}, {since:when})",
    "outlet.test_failed_as_recorded": "{outlet}: {failure}, registrado por {by}",
    "outlet.test_failed.ask": (
        "Hacer reparar la toma de corriente {outlet} por personal autorizado, probarla de nuevo y registrarlo"
    ),
    # sensors
    "sensors.heard": "todos responden",
    "sensors.deciding_heard": "todos los que deciden responden; no responden: {silent}",
    "sensors.deciding_heard_or_read": "todos los que deciden responden, o se leen a la vista; no responden: {silent}",
    "sensors.not_heard": "no responden: {points}",
    "sensors.because": "{point} ({why})",
    "sensors.no_reading_yet": "aún sin lectura: {points}",
    "sensors.unjudged": "{point}: {why}",
    "sensors.unjudged.ask": "Quitar {point} del archivo del puesto, o completarlo",
    "silent.point": "{point}: {why}{detail}",
    "silent.detail": " ({detail})",
    "silent.slow": "llega una lectura cada {every:g s}, más tarde que los {limit:g s} durante los que vale una",
    "silent.slow.advice": (
        "Leer más a menudo, o dar a los puntos `every` y `stale_after` en el archivo del puesto según la frecuencia de lectura"
    ),
    "silent.slow_points": "{points}: {what}; {advice:lower}",
    "bus.lost": "el bus {bus} se ha perdido",
    "bus.not_heard": "ningún punto del bus {bus} responde ya: {points}",
    "bus.none_heard": "ningún punto del puesto responde ya: {points}",
    # what is read by eye
    "by_eye.read_by": "{value:contact}, leído por {by}",
    "by_eye.seen": "{value:contact}, visto por {by} {since:when}",
    "by_eye.seen.ask": "cuando haya pasado, introducir una lectura que lo diga: {role:role}",
    "by_eye.no_reading_of_point": "ninguna lectura a la vista de {point} que aún valga",
    "by_eye.read_point": "Leer {point} e introducirlo",
    "by_eye.no_reading_of_role": "ninguna lectura a la vista que aún valga: {role:role}{since}",
    "by_eye.read_role": "Leer a la vista e introducir: {role:role}",
    "by_eye.no_point": "ningún punto tiene la función {role:role}",
    "by_eye.no_point.ask": "Instalar un punto de la función {role}, o nombrarla en [not_fitted]",
    "by_eye.overtaken": "; desde que alguien lo leyó: {what}",
    "since.filled_anew": "el depósito se llenó de nuevo",
    "since.liquid_added": "se añadió líquido",
    "since.equipment_changed": "se cambió el equipo",
    "since.without_power": "el calentador, o el equipo, estuvo sin corriente",
    # the daemon's facts
    "clock.trusted": "fiable",
    "clock.untrusted": "el reloj aún no es fiable: no se pueden saber los vencimientos",
    "clock.untrusted.ask": (
        "Asegurarse de que la placa llega a su servidor de hora; si su fecha dista meses de la última y es correcta, registrar "
        "{typed:clock_confirmed}{forms:que el reloj es correcto}"
    ),
    "alarm.disk_low.nearly_full": "el disco está casi lleno: {disk}",
    "alarm.store.refuses": "el diario no se puede escribir: {why}",
    "alarm.store.hangs": "una escritura lleva {since:.0f s} en curso: el disco es lento o está colgado",
    "alarm.store.not_kept": "las lecturas no se guardan: {why}",
    "alarm.store.read_only": "el disco está montado solo para lectura: no se puede guardar nada",
    "alarm.store.lost": "se pierden lecturas: {readings:d} desde el arranque",
    "alarm.store.slow": "el disco es lento: una de cada veinte escrituras tarda {took:.1f s} o más",
    "alarm.store.end_not_noted": (
        "el final del diario no se puede anotar, así que una pérdida podría pasar inadvertida: {why}"
    ),
    "alarm.untold.not_reached": "aún no se ha llegado al broker",
    "alarm.untold.nobody": "no se pudo avisar a nadie{since} ({ways})",
    "alarm.untold.some": "sin avisar{since}: {who:and} ({ways})",
    "alarm.untold.since": " desde el {since:date} {since}",
    "alarm.untold.way": "{who}: {why}",
    # basins, the page's certificate, whose a hold is
    "daily_test.in_basin": "Cuba {basin}: {ask:lower}",
    "daily_test.not_told_of_basin": "no se midió ninguna de sus conexiones: nada se dice de la cuba {basin}",
    "hold.basins_held": "Bloqueada, no debe arrancar: cuba {basins:and}",
    "hold.held_in": "cuba {basin} bloqueada por {by}: {why}",
    "hold.held_in.ask": "Hacer levantar el bloqueo de la cuba {basin}",
    "machine.no_work": "sin trabajos declarados",
    "machine.work_declared_in": "trabajos en la cuba {basin} declarados por {by}",
    "machine.work_declared_in.ask": "Terminar los trabajos declarados en la cuba {basin}",
    "alarm.certificate_ends.soon": "el certificado de la página termina el {until:date}",
    "alarm.certificate_ends.over": "el certificado de la página terminó el {until:date}",
    "alarm.backup_overdue.never": "aún no se ha hecho ninguna copia",
    "alarm.backup_overdue.last": "la última copia buena es del {at:date}",
    "alarm.backup_overdue.why": "{what}; el último intento falló: {why}",
    "alarm.archive_silent.which": "sin noticias de lo que tiene {which}",
    "alarm.archive_silent.last": "{archive} (la última del {at:date} {at})",
    "alarm.archive_silent.never": "{archive} (ninguna aún)",
    "record.no_such_basin": "no hay tal cuba en esta estación: {named}{there}",
    "record.has_no_basin": "; no tiene ninguna",
    "record.biomeds_to_release": "el bloqueo de {by} es de un biomédico: solo lo levanta un biomédico identificado",
    "record.nothing_held_in": "nada está bloqueado en la cuba {basin} sola",
    "record.no_work_in": "no se había declarado ningún trabajo en la cuba {basin}",
    # treatments that are not done, results and shelves that can't be reckoned with
    "treatment.not.drained": "no vaciado, como registró {by}",
    "treatment.not.rinsed": "no enjuagado, como registró {by}",
    "treatment.not.residue_free": "no libre de residuos, como registró {by}",
    "treatment.begun": "puede haber desinfectante en el circuito de agua: {by} registró un tratamiento que no está terminado",
    "duty.cant_be_compared": "{result} no se puede comparar con el nivel de acción de {level} ({by}, {since:when})",
    "duty.cant_be_compared.ask": (
        "{title}: registrar el resultado como número con su unidad, o tomar otra muestra{typed: (service, duty={duty})}"
    ),
    "record.taken_back_already": "{typed:`of`: }este registro ({record:record}) ya fue retirado",
    "record.never_counted": "{typed:`of`: }este registro ({record:record}) nunca contó, no hay nada que retirar",
    "record.shelf_over": (
        "el aplazamiento habría terminado a las {ended:utc}: {typed:omitir `at`}{forms:elegir ahora}, o indicar más minutos"
    ),
}
