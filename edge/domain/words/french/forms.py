"""What is refused of a record, and what its form says of itself. `refused.*` stands behind the name of the field that it is about."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

FORMS: Final[Mapping[str, str]] = {
    "refused.missing": "cela manque",
    "refused.number": "un nombre est attendu ici",
    "refused.whole": "un nombre entier est attendu ici",
    "refused.date": "cette date n'existe pas : année, mois et jour, ou année et mois",
    "refused.time": "cette heure n'existe pas",
    "refused.line": "1 à {most} caractères sont attendus ici",
    "refused.note": "au plus {most} caractères sont attendus ici",
    "refused.quantity": "un nombre avec son unité est attendu ici",
    "refused.listed": "choisir au moins un élément de la liste",
    "refused.word": "un de ceux-ci est attendu ici : {words}",
    "refused.between": "possible : {low:g} à {high:g}",
    "refused.least": "possible : {low:g} ou plus",
    "refused.beginning": "cela manque, à côté de la fin du contact",
    "refused.empty": "c'est vide : écrire quelque chose, ou omettre",
    "refused.says_nothing": "dire ce qui a été fait, ou de quelle obligation, de quel filtre ou de quel point il s'agit",
    "refused.no_unit": "l'unité manque",
    "refused.concentration": (
        "une concentration est attendue ici, en %, ppm, g/L, mg/L ou mol/L ; une bandelette qui réussit ou non n'a pas besoin de "
        "valeur"
    ),
    "refused.both": "un résultat est indiqué aussi, omettre l'un des deux",
    "refused.too_strong": "un désinfectant en service a au plus {most} : relire",
    "refused.cant_be": "possible : {low} à {high}",
    "refused.basin": "ce poste n'a pas un tel bac",
    "refused.other_quantity": "un résultat en {unit} est attendu ici, l'unité de ses niveaux",
    "refused.long_ago": "cela daterait de plus de {years} ans : corriger l'année",
    "refused.opened": "aucun récipient ouvert ne se conserve si longtemps : corriger la date",
    "refused.expires": "aucune étiquette ne va si loin : la relire",
    "form.daily_test": "Le test du jour. Si des raccords ont été mesurés, ils décident, quel que soit le résultat indiqué.",
    "form.water_path_treatment": (
        "Le circuit d'eau a été désinfecté, vidangé et rincé : quand le contact a commencé et fini, ou combien il a duré ; ou "
        "étape par étape."
    ),
    "form.filter_change": "Des filtres ont été remplacés : choisir lesquels.",
    "form.disinfectant_fill": "Le réservoir a été rempli à neuf : une durée de réutilisation commence.",
    "form.disinfectant_top_up": "Du liquide a été ajouté. Cela ne commence pas de nouvelle durée de réutilisation.",
    "form.concentration_check": (
        "La concentration du désinfectant a été contrôlée. Un contrôle non réussi vaut jusqu'à ce qu'un contrôle réussisse ou "
        "que le réservoir soit rempli à neuf."
    ),
    "form.calibration": "Un point a été comparé à une référence.",
    "form.entered_reading": "Quelque chose a été lu à l'œil.",
    "form.outlet_test": (
        "Une prise à protection différentielle a été essayée avec son bouton de test. Un test non réussi vaut jusqu'à ce qu'un "
        "test réussisse."
    ),
    "form.hold": "Le poste ne peut pas démarrer tant que le blocage n'est pas levé.",
    "form.release": "Lève le blocage de ce nom, ou de ce bac seul, ou tous.",
    "form.equipment_change": (
        "Un autre appareil, ou une pièce, se trouve ici : ce qui a été appris est oublié ; test, traitement et liquide sont dus."
    ),
    "form.service": "Quelque chose a été examiné ou réparé.",
    "form.work_begins": "Quelqu'un travaille sur le poste.",
    "form.work_ends": "Le travail est terminé.",
    "form.acknowledge": "Une alarme a été vue.",
    "form.reset": "Une alarme qui reste jusqu'à ce que quelqu'un la réarme est passée.",
    "form.shelve": "Une alarme est mise de côté pour un moment.",
    "form.unshelve": "Une mise de côté prend fin.",
    "form.out_of_service": "Une alarme est mise hors service.",
    "form.in_service": "Une alarme est remise en service.",
    "form.correction": "Un enregistrement était une erreur et ne compte plus.",
    "form.note": "Une remarque.",
    "form.clock_confirmed": "La date du poste est juste, bien qu'elle soit à des mois de la dernière date fiable.",
    "form.key.passed": "si cela a réussi",
    "form.key.channel_ports": (
        'ce que chaque raccord mesuré a donné : [{{"port": 3, "seconds": '
        '11.8}}], avec "ml" là où ce n\'est pas le volume du fichier du poste'
    ),
    "form.key.checked": "les autres points de contrôle du fichier du poste qui étaient en ordre : [daily_test] also",
    "form.key.failed": "les points de contrôle qui n'étaient pas en ordre",
    "form.daily_test.basin": (
        "identifiant du bac dont les raccords sont numérotés à partir de "
        "1 ; sans indication : tous, numérotés à travers tous les bacs"
    ),
    "form.key.basin": "identifiant du bac, s'il s'agit de lui seul ; sans indication : le poste",
    "form.key.contact_min": "minutes de contact",
    "form.key.began_at": "quand le contact a commencé",
    "form.key.ended_at": "quand le contact a pris fin",
    "form.key.step": (
        "le contact commence, prend fin, ou tout est terminé (vidangé, rincé, regardé) ; chaque étape a son propre `at`"
    ),
    "form.key.drained": "si l'on a vidangé après le contact",
    "form.key.rinsed": "si l'on a vidangé et rincé",
    "form.key.residue_free": "si l'eau de rinçage a été regardée et ne contient pas de résidus",
    "form.key.product": "son nom sur l'étiquette",
    "form.key.lot": "numéro de lot",
    "form.key.filters": 'identifiants des filtres dans le fichier du poste : ["coarse","fine"]',
    "form.key.filter": "identifiant du filtre dans le fichier du poste",
    "form.key.why": "pourquoi",
    "form.disinfectant_fill.expires": "la dernière date sur l'étiquette",
    "form.concentration_check.expires": "la dernière date sur les bandelettes",
    "form.key.opened": "quand son récipient a été ouvert",
    "form.key.litres": "combien",
    "form.key.opened_clean_side": "si le côté propre du circuit d'eau a été ouvert",
    "form.key.stirred": "si l'on a remué, pour que la température soit celle de l'ensemble",
    "form.concentration_check.value": 'ce qui a été lu, avec son unité, par exemple "0.35 %"',
    "form.entered_reading.value": 'ce qui a été lu, avec son unité, par exemple "44 psi" ; d\'un contact, son mot',
    "form.service.value": 'le résultat, avec son unité, par exemple "3 CFU/100 mL"',
    "form.key.unit": "unité d'une valeur qui n'en porte pas",
    "form.key.strip": "quelle bandelette",
    "form.key.point": "identifiant du point",
    "form.entered_reading.point": "identifiant du point lu à l'œil",
    "form.equipment_change.point": "identifiant du point dont le capteur a été posé",
    "form.key.points": (
        "valeurs de référence, avec ce que le point indiquait : "
        '[{{"reference": "35.00 degC", "reading": "34.87 degC"}}]'
    ),
    "form.key.reference_u": "incertitude-type de la référence, par exemple 0.05 K",
    "form.key.reference_resolution": "pas de l'affichage de la référence ; sans indication : d'après les chiffres écrits",
    "form.key.confirm": "la raison d'une correction inhabituelle, par qui en répond",
    "form.key.drift_allowance": "de combien le point peut dériver jusqu'à la prochaine fois",
    "form.key.due_at": "quand il faut le refaire ; sans indication : dans un an",
    "form.calibration.instrument": "l'instrument de référence",
    "form.entered_reading.instrument": "sur quoi cela a été lu",
    "form.outlet_test.instrument": "avec quoi cela a été essayé",
    "form.key.certificate": "son certificat",
    "form.key.adjust": "false : une vérification, rien n'est ajusté",
    "form.key.role": "le rôle de ce qui a été lu ; [not_fitted] le nomme",
    "form.key.outlet": "quelle prise, par exemple heater",
    "form.outlet_test.of": "la même chose sous un autre nom",
    "form.correction.of": "le numéro (seq) de l'entrée",
    "form.key.trip_ms": "après combien de millisecondes elle a déclenché",
    "form.key.trip_ma": "à combien de milliampères elle a déclenché",
    "form.hold.name": "un nom, là où il peut y en avoir plusieurs ; une levée le donne",
    "form.release.name": "quel blocage",
    "form.key.released_by": "qui peut décider de sa levée",
    "form.equipment_change.what": "ce qui a été changé : loaner, swap, repair, sensor_fitted, …",
    "form.service.what": "ce qui a été fait : repair, …",
    "form.work_begins.what": "ce que l'on fait",
    "form.work_ends.what": "ce qui a été fait",
    "form.key.serial": "numéro de série de ce qui est arrivé",
    "form.key.duty": "quelle obligation de la liste du fichier du poste a été remplie : [duty.…]",
    "form.key.alarm": "identifiant de l'alarme, par exemple outlet_tripped:heater",
    "form.key.minutes": "pour combien de temps",
    "form.key.text": "ce qui mérite d'être gardé",
    "form.key.time": "l'heure qu'il est, à une montre juste",
    "form.commissioning": "Un point de la liste de mise en service a été regardé ou mesuré.",
    "form.commissioning.value": 'ce qui a été lu, avec son unité, comme "0.2 psi" ; omis : la lecture du poste maintenant',
    "form.commissioning.instrument": "avec quoi cela a été mesuré",
    "form.key.item": "quel point, tel que standpipe ou zero:supply",
    "form.key.timing": (
        "en cas de chute de pression que le poste chronomètre : elle commence, la vanne une fois fermée ; ou prend fin avant son terme"
    ),
    "form.key.before": 'en cas de chute de pression : ce qui a été lu à la fermeture de la vanne, comme "52 psi"',
    "form.key.after": "ce qui a été lu ensuite ; omis : la lecture du poste maintenant",
    "form.key.seconds": "combien de temps cela a pris",
    "form.key.litres_u": "incertitude type des litres",
    "form.key.seconds_u": "incertitude type des secondes",
    "form.key.not_applicable": "pourquoi c'est sans objet pour ce poste",
    "refused.unit": "son unité n'est pas connue",
    "refused.to_come": "c'est encore à venir selon l'horloge du poste",
}
