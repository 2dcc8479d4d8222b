"""French of why a record doesn't count, and of what a calibration's uncertainty is made of."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

RECORDS: Final[Mapping[str, str]] = {
    "led.condition": "{condition:condition} : {text}",
    "led.alarm": "{alarm:alarm} : {state:state}",
    "led.stands": "valable jusqu'au {until:date} {until}",
    "led.taken_as_rinsed": (
        "considéré vidangé et rincé, comme le dit l'enregistrement d'un traitement entier;"
        " sinon, l'enregistrer{typed: (rinsed=no)}"
    ),
    "led.no_last_date": "la dernière date de l'étiquette n'est pas enregistrée (expires)",
    "led.due": "à refaire à partir du {due:date}",
    "led.due_since": "à refaire depuis le {due:date}",
    "led.no_trip_seen": (
        "le poste n'a pas vu la prise {outlet} se déclencher dans les {within} précédentes; "
        "l'essai compte quand même, car le fichier du poste n'en demande pas"
    ),
    "led.may_start": "le poste peut démarrer",
    "led.may_not_first": "le poste ne peut pas encore démarrer; d'abord : {first:lower}",
    "led.may_not_until": "le poste ne peut pas encore démarrer; prévu le {at:date} {at}",
    "led.may_not": "le poste ne peut pas encore démarrer",
    "record.form": "{fault}",
    "record.stands": "cela empêche tout de même le poste de démarrer",
    "record.somebody": "quelqu'un",
    # what it names, and what nothing looks at
    "record.no_section": "rien ne le surveille : le fichier du poste n'a pas de [{section}]",
    "record.failed_service": (
        "rien ne surveille un entretien non réussi, sauf celui d'un filtre : enregistrer un blocage si le poste ne doit pas démarrer"
    ),
    "record.no_such_filter": "pas de tel filtre à ce poste : {named}{there}",
    "record.no_such_outlet": "pas de telle prise à ce poste : {named}{there}",
    "record.no_such_duty": "pas de telle obligation dans la liste du fichier du poste : {named}{there}",
    "record.has_no_duty": "; il n'y en a aucune",
    "record.no_such_item": "pas de tel point de contrôle dans {typed:[daily_test] also}{forms:le fichier du poste} : {named}{there}",
    "record.has_no_item": "; il n'y en a aucun",
    "record.no_result": "le résultat n'est pas donné en {unit}, l'unité de ses niveaux{typed: : value='3 {unit}'}",
    "record.has_no_filter": "; il n'a pas de filtre",
    "record.has_no_outlet": "; il n'a pas de prise",
    "record.nearest": "; le plus proche : {near}",
    "record.there_are": "; il y a {known}",
    # times
    "record.in_future": (
        "l'heure est dans le futur : l'horloge du poste indique {clock:utc}; {typed:corriger `at`, ou l'omettre pour "
        "maintenant}{forms:la corriger, ou choisir maintenant}"
    ),
    "record.clock_wrong": "l'horloge du poste indique {clock:utc} : la régler d'abord",
    "record.strips_expired": "les bandelettes étaient bonnes jusqu'au {last} : contrôler avec d'autres",
    # tests, treatments, fills
    "record.port_failed_before": (
        "le raccord {ports:and} n'a pas réussi au dernier test : mesurer à nouveau et {typed:dire dans "
        "channel_ports}{forms:enregistrer} ce qui est venu"
    ),
    "record.ports_failed_before": (
        "les raccords {ports:and} n'ont pas réussi au dernier test : mesurer à nouveau et {typed:dire dans "
        "channel_ports}{forms:enregistrer} ce qui est venu"
    ),
    "record.opened_not_told": (
        "la date d'ouverture de son récipient manque{typed: (opened=2026-03-14)} : sa durée de conservation en dépend"
    ),
    "record.opened_after_fill": "son récipient a été ouvert après le remplissage : corriger {typed:`opened`}{forms:la date d'ouverture}",
    "record.trip_not_seen": (
        "le contact de la prise {outlet} n'a pas été vu se déclencher dans les {within} précédentes : appuyer sur le bouton de test, la "
        "réarmer, et l'enregistrer alors"
    ),
    "record.no_fill": (
        "{filled} L ne remplissent pas un réservoir de {holds} L : ce qui a été ajouté est un "
        "{typed:disinfectant_top_up}{forms:appoint}"
    ),
    "record.too_much": "{filled} L n'entrent pas dans un réservoir de {holds} L",
    "record.contact_ends_early": "le contact finit avant de commencer",
    "record.contact_ends_late": "le contact finit après l'heure de l'enregistrement lui-même",
    "record.contact_does_not_fit": "{contact:.4g min} de contact ne tiennent pas entre son début et sa fin",
    "record.contact_too_short": "{contact:.4g min} de contact; il en faut {wanted:g min}",
    "record.contact_before_opening": (
        "les {contact:.4g min} de contact auraient commencé avant l'ouverture du côté propre ({record:record}, {before} avant la fin)"
    ),
    "record.not_rinsed": "non vidangé et rincé",
    "record.not_drained": "non vidangé",
    "record.not_residue_free": "l'eau de rinçage n'est pas exempte de résidus",
    "record.not_told_afterwards": "ce qui doit suivre ici le contact n'est pas dit : {what:and}",
    "record.no_contact_begun": "aucun contact en cours : enregistrer d'abord son début{typed: (step=begins)}",
    "record.no_contact_ended": "aucun contact terminé : enregistrer cela d'abord{typed: (step=ends)}",
    "record.contact_across_restart": (
        "la durée ne peut pas être établie : le poste a redémarré depuis l'étape précédente, et l'une des dates n'est pas sûre"
    ),
    "record.not_tested_before": "le test quotidien de ce jour n'avait pas réussi avant",
    # holds, work, corrections
    "record.others_to_release": (
        "le blocage de {by} doit être levé par {quoted} : ce nom, ou un nom qui le contient ({signed}, {who}), doit {typed:être "
        "dans `by`}{forms:signer}"
    ),
    "record.before_hold": "la date est antérieure au début du blocage ({began:utc})",
    "record.before_named_hold": "la date est antérieure au début du blocage {quoted} ({began:utc})",
    "record.nothing_held": "rien n'est bloqué",
    "record.nothing_held_so": "rien n'est bloqué sous le nom {quoted}{there}",
    "record.no_work": "aucuns travaux n'étaient déclarés",
    "record.work_of_others": "les travaux déclarés sont {others:and} : seule l'une de ces personnes peut y mettre fin",
    "record.of": "de {by}",
    "record.before_work": "la date est antérieure au début des travaux ({began:utc})",
    "record.nothing_to_correct": "{typed:`of` : aucune saisie valable n'a cette seq}{forms:aucune saisie valable n'a ce numéro}",
    "record.others_to_correct": (
        "{typed:`of` : }cette saisie empêche le poste de démarrer ({record:record}); seul {by}, qui l'a enregistrée, peut la retirer"
    ),
    # alarms
    "record.nothing_to_acknowledge": "normale, il n'y a rien à acquitter : {alarm:alarm}",
    "record.acknowledged_already": "déjà acquittée par {by} à {at:utc} : {alarm:alarm}",
    "record.changes_nothing": "{state:state}, rien ne change : {alarm:alarm}",
    # readings by eye
    "entered.no_such_point": "il n'y a pas de point {quoted}{near}",
    "entered.other_role": "{point} n'a pas le rôle {quoted} : nommer l'un des deux",
    "entered.of_another": (
        "{by} l'a vu ainsi ({value:contact}) sans nommer de point, ou en nommant un autre : saisir ce qui vaut maintenant{typed: "
        "avec role={role}}{forms:, sans point}"
    ),
    "entered.by_sensor": (
        "{point} est lu par son capteur : personne ne saisit ses lectures; ce qu'un instrument montre à côté est un étalonnage"
        "{typed: avec adjust=false}{forms: qui ne fait que contrôler}"
    ),
    "entered.too_old_for_point": "plus ancienne qu'une lecture de ce point ne peut l'être",
    "entered.too_old_for_role": "plus ancienne qu'une lecture de ce rôle ne peut l'être",
    "entered.no_such_role": "il n'y a pas de rôle {quoted}{near}",
    "entered.has_point": "{role:role} a un point lu par des personnes : le saisir {typed:avec point={point}}{forms:pour {point}}",
    "entered.nothing_not_fitted": "rien ne le surveille : [not_fitted] du fichier du poste ne nomme rien",
    "entered.not_among_not_fitted": "rien ne le surveille : [not_fitted] du fichier du poste nomme {roles}",
    "entered.sensor_answers": "{point} est lu par son capteur, qui répond : personne ne saisit ses lectures",
    "entered.before_last_heard": "elle est antérieure à la dernière réponse de {point} : relire",
    "entered.decides_nothing": "rien ne surveille cela lu à l'œil ({role:role}) : {instead}",
    "role.fit_a_point": "installer un point de mesure pour cela",
    "entered.cant_be": (
        "{typed:value}{forms:la valeur} est {given}, ce qui est impossible : {role:role} se situe entre {low:g} et {high:g} "
        "{unit}"
    ),
    "entered.outside_point": "{typed:value}{forms:la valeur} est {given} : hors de ce que ce point peut être",
    "entered.no_value": "{typed:value}{forms:la valeur} manque : ce qui a été lu",
    "entered.no_such_word": "{typed:value}{forms:la valeur} est {given}, ni {one} ni {other}",
    "entered.without_unit": '{typed:value}{forms:la valeur} est {given} sans unité; par exemple "{such}" conviendrait',
    "entered.not_a_temperature": "{typed:value}{forms:la valeur} est {given}, pas une température avec son unité{hint}",
    "entered.not_a_pressure": "{typed:value}{forms:la valeur} est {given}, pas une pression avec son unité{hint}",
    "entered.not_a_flow": "{typed:value}{forms:la valeur} est {given}, pas un débit avec son unité{hint}",
    "entered.not_a_conductivity": "{typed:value}{forms:la valeur} est {given}, pas une conductivité avec son unité{hint}",
    "entered.hint": " ({hint})",
    # calibrations
    "calibration.no_such_point": "pas de tel point à étalonner : {quoted}",
    "calibration.nothing_read": "le point n'a pas de lecture à étalonner",
    "calibration.beyond_any_sensor": (
        "cela corrigerait {point} de {by}, et aucun capteur en ordre ne se trompe de plus de {most} : vérifier la référence, le capteur et "
        "les réglages du transmetteur"
    ),
    "calibration.beyond_one": (
        "cela corrigerait {point} de {by}, et une seule comparaison peut corriger de {may} : comparer à nouveau dans {again:.0f min} ou "
        "plus, ou l'envoyer avec {typed:confirm, }une raison de {words} mots ou plus"
    ),
    "calibration.no_reference_u": "{typed:reference_u manque : }l'incertitude-type de la référence{forms: manque}",
    "calibration.reference_u_zero": (
        "{typed:reference_u}{forms:l'incertitude de la référence} est 0 : aucune référence n'est sans incertitude"
    ),
    "calibration.due_at": (
        "{typed:due_at est {due}}{forms:la prochaine ne peut être due le {due}} : l'échéance vient après la comparaison de "
        "{compared:utc}, dans les années qui suivent (au plus {years})"
    ),
    "calibration.falls": (
        "la lecture baisse de {from_reading:.6g} à {to_reading:.6g} alors que la référence monte de {from_reference:.6g} à "
        "{to_reference:.6g} : lectures et références ne vont pas ensemble"
    ),
    "calibration.slope": "les références demandent une pente de {slope:.3g} : lectures et références ne vont pas ensemble",
    "calibration.no_points": "points manque : une liste de référence et lecture",
    "calibration.no_pair": "{given} n'est pas une paire de référence et lecture",
    "calibration.no_list": "readings n'est pas une liste",
    "calibration.reference_without_unit": (
        "{typed:reference}{forms:la référence} est {given}, sans unité : l'écrire comme elle est affichée, avec son unité"
    ),
    "calibration.reference_outside": (
        "{typed:reference}{forms:la référence} : {given} est hors de ce que {point} peut lire, {low:g} à {high:g} {unit}"
    ),
    "calibration.reading_without_unit": "reading est {given}, sans unité, à côté d'une référence dans une autre que {unit}",
    "calibration.reading_outside": "reading : {reading:g} {unit} est hors de ce que {point} peut lire",
    "calibration.no_quantity": "{key} est {given}, pas une grandeur",
    "calibration.below_zero": "{key} est inférieur à zéro",
    "calibration.key": "{key} : {why}",
    # the parts of the uncertainty of a corrected reading
    "budget.reference": "la référence, selon son certificat",
    "budget.reference_step": "le pas de la référence, tel que lu",
    "budget.step_compared": "le pas du point, lors de la comparaison",
    "budget.repeatability": "répétabilité de la comparaison",
    "budget.step": "le pas du point, en usage",
    "budget.noise": "bruit d'une lecture, en usage",
    "budget.fit": "l'ajustement",
    "budget.distance": "distance des références au domaine d'usage",
    "budget.drift": "dérive jusqu'à la prochaine échéance",
    # what serves in place of a reading by eye
    "role.room_temperature.instead": "donner à la pièce un point sur un bus de type entered, ou coldest_room",
}
