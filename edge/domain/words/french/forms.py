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
}
