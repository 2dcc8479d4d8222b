"""French: the sheet for the room's wall."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

SHEET: Final[Mapping[str, str]] = {
    "sheet.only_watches": (
        "Warmwell surveille ce dont cet appareil a besoin autour de lui : eau, filtres, chaleur, "
        "prises. Il ne fait que surveiller."
    ),
    "sheet.surroundings": "{ready} ne concerne que l'environnement : la notice du fabricant décide du reste.",
    "sheet.page": "La page du poste : viser le carré avec un appareil photo, ou taper cette adresse.",
    "sheet.own_computer": "Cette adresse ne répond que sur l'ordinateur du poste lui-même.",
    "sheet.fingerprint": (
        "Le navigateur avertit une fois. Ne continuer que s'il montre cette empreinte (SHA-256) : {fingerprint}"
    ),
    "sheet.head.not_ready": "Quand la page dit {not_ready} ou {cant_tell}",
    "sheet.do.look": "Ne pas démarrer. Lire sur la page ce qui manque, pourquoi, et quand ce sera en ordre.",
    "sheet.do.first": "Faire ce que la page nomme en premier, avec la protection que ce travail demande.",
    "sheet.do.record": (
        "Enregistrer ce qui a été fait, sous son propre nom : le poste se règle sur ce qui est enregistré."
    ),
    "sheet.do.acknowledge": (
        "Acquitter une alarme après être allé voir. La cause reste jusqu'à ce qu'elle soit corrigée."
    ),
    "sheet.do.call": "Appeler si l'heure indiquée est passée, ou en cas de doute.",
    "sheet.head.lost": "Quand la page ne s'ouvre pas, ou dit que le poste n'est pas entendu",
    "sheet.lost": (
        "Ne pas démarrer d'après ce qui y est écrit. Se fier à ses yeux et à la notice du "
        "fabricant : manomètre, thermomètre, filtres, prise. Vérifier que le petit ordinateur à "
        "côté de l'appareil est alimenté ; puis appeler."
    ),
    "sheet.head.call": "Qui appeler",
    "sheet.head.cautions": "Précautions",
    "sheet.caution.disinfectant": (
        "Le désinfectant nuit aux yeux, à la peau et aux voies respiratoires, chaud plus que "
        "froid : protection, aération et formation selon l'étiquette et l'établissement."
    ),
    "sheet.caution.mains": (
        "Secteur : garder les mains sèches. Une prise dont la protection a déclenché est réarmée "
        "une fois au plus ; ensuite le personnel habilité cherche la cause."
    ),
    "sheet.caution.pressure": (
        "Corps de filtre et tuyaux restent sous pression après la fermeture de la vanne d'arrêt. "
        "Relâcher la pression avant d'ouvrir."
    ),
    "sheet.caution.heat": (
        "Le réservoir et son chauffage sont assez chauds pour blesser, et la vapeur est plus forte à chaud."
    ),
    "sheet.caution.outranked": "La notice du fabricant, l'étiquette et les règles locales priment sur cette feuille.",
    "sheet.unreviewed": (
        "Cette traduction n'a pas encore été relue par quelqu'un qui parle la langue et connaît "
        "le métier : la feuille anglaise fait foi."
    ),
}
