"""French of rows of facts: reasons of readings, checks between points, alarms. Their English stands in the rows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from edge.domain.words.language import RowWords, row_words

_REASONS: Final[Mapping[str, RowWords]] = {
    "no_reading_yet": ("pas encore de lecture", "Attendre une période; puis vérifier que le capteur est câblé et alimenté"),
    "stale": ("pas de lecture depuis trop longtemps", "Vérifier le câble et l'alimentation du capteur"),
    "not_entered": ("personne n'a saisi de lecture qui vaille encore", "Le lire et le saisir, avec son unité"),
    "no_answer": ("pas de réponse dans le délai", "Vérifier câble, alimentation et adresse du capteur"),
    "bus_lost": ("son bus est perdu", "Rebrancher l'adaptateur; Warmwell réessaie de lui-même"),
    "in_use": ("la ligne ou le port est utilisé par un autre programme", "Arrêter l'autre programme"),
    "garbled": ("la réponse n'a pas pu être comprise", "Vérifier débit en bauds, motif et blindage"),
    "empty_answer": ("une réponse vide", "Vérifier le câble et la résistance de rappel du capteur"),
    "no_valid_answer": (
        "pas de réponse valable : câble coupé, sonde morte ou perturbation",
        "Vérifier d'abord câble et connecteur de la sonde, puis résistance de rappel et blindage; remplacer une sonde qui reste muette",
    ),
    "crc": ("somme de contrôle fausse (CRC)", "Vérifier longueur du câble, résistance de rappel et blindage"),
    "power_on_value": ("valeur de mise sous tension", "Vérifier l'alimentation et la résistance de rappel du capteur"),
    "refused": (
        "l'unité a refusé la question",
        "Comparer le type et l'adresse du registre au manuel de l'unité; les adresses comptent à partir de 0",
    ),
    "absurd_number": (
        "un nombre qui ne peut pas être une mesure", "Comparer le type et l'ordre du registre au manuel de l'unité",
    ),
    "not_a_number": ("pas un nombre", "Vérifier le format de sortie du transmetteur"),
    "out_of_range": (
        "hors de ce que ce point peut être", "Vérifier capteur, câblage et le réglage range du point",
    ),
    "beyond_its_role": (
        "ni l'eau froide courante ni une pièce utilisée ne peut être ainsi",
        "Vérifier câble, connecteur et place de la sonde; la comparer à un instrument de référence",
    ),
    "impossible_rate": ("a changé plus vite que possible", "Chercher un faux contact ou une perturbation"),
    "stuck": ("n'a pas bougé du tout depuis trop longtemps", "Comparer à une référence; remplacer le capteur s'il est figé"),
    "perhaps_stuck": ("n'a pas bougé du tout depuis un moment", "Comparer à un instrument de référence"),
    "loop_open": ("boucle de courant ouverte ou défaut du transmetteur", "Vérifier le câblage de la boucle et le transmetteur"),
    "loop_over": (
        "boucle de courant en court-circuit ou défaut du transmetteur", "Vérifier le câblage de la boucle et le transmetteur",
    ),
    "under_range": ("au-dessous de la plage du transmetteur", "Vérifier plage et zéro du transmetteur"),
    "over_range": ("au-dessus de la plage du transmetteur", "Vérifier plage et étendue du transmetteur"),
    "sensor_open": (
        "capteur ouvert : câble ou élément rompu", "Vérifier connecteur et câble du capteur; mesurer l'élément",
    ),
    "under_supplied": (
        "le capteur a trop peu de courant",
        "Donner à la sonde son fil d'alimentation, ou une résistance de rappel plus forte; raccourcir le câble",
    ),
    "supply_wrong": (
        "la tension d'alimentation du capteur est fausse",
        "Mesurer l'alimentation du capteur à son connecteur; vérifier fusible et câble",
    ),
    "shorted": ("ligne du capteur en court-circuit", "Chercher un court-circuit dans le câble du capteur"),
    "device_gone": (
        "le capteur ou son dispositif n'est pas là",
        "Vérifier connecteur, câble et alimentation, et l'adresse dans le fichier du poste",
    ),
    "io_error": (
        "la lecture a échoué (erreur d'entrée-sortie)", "Vérifier câble et connecteurs; voir le journal du système",
    ),
    "no_access": (
        "le service n'a pas le droit de le lire",
        "Donner à l'utilisateur du service l'accès au dispositif, comme le fait l'installation",
    ),
    "lower_stop": (
        "le convertisseur est à sa butée basse",
        "Vérifier câblage et polarité du capteur, et la plage de mesure du convertisseur",
    ),
    "upper_stop": (
        "le convertisseur est à sa butée haute",
        "Chercher un capteur ouvert ou une alimentation fausse, et vérifier la plage de mesure du convertisseur",
    ),
    "loop_unclear": (
        "la boucle surveillée n'est ni au repos ni déclenchée",
        "Mesurer la boucle à la carte; chercher corrosion et eau sur résistances, jonctions et câble",
    ),
    "no_such_line": ("la puce n'a pas cette ligne", "Vérifier le numéro ou le nom de la ligne dans le fichier du poste"),
    "edges_lost": (
        "des impulsions ont été perdues en chemin et comptées par leurs numéros",
        "Lire le compteur plus souvent, ou alléger la charge de la carte",
    ),
    "edges_noisy": (
        "plus de fronts que le compteur ne peut en donner",
        "Vérifier câble, blindage et résistance de rappel du compteur, et son débit maximal dans le fichier du poste",
    ),
    "adapter_fault": (
        "l'adaptateur a échoué", "Voir le journal du système; le signaler avec un rejeu des lectures",
    ),
    "contradicted": ("contredit par un autre point", "Vérifier les deux points"),
    "recorded_bad": ("enregistré comme mauvais", "Voir l'enregistrement pour la raison"),
}  # fmt: skip

_DRAW: Final = "puis tirer de l'eau pendant une demi-minute"
_CHECKS: Final[Mapping[str, RowWords]] = {
    "no_pulses": (
        "la pression indique un puisage, le compteur aucun",
        f"Vérifier le débitmètre : rotor, câble et résistance de rappel; {_DRAW}",
    ),
    "drop_no_flow": (
        "les filtres prennent de la pression, le compteur dit que rien ne coule",
        f"Vérifier le débitmètre et les deux capteurs de pression; chercher de l'eau qui coule; {_DRAW}",
    ),
    "zero": (
        "s'écarte des autres au repos : un zéro s'est déplacé",
        "Comparer à un manomètre de référence et l'enregistrer; s'assurer qu'aucune vanne entre les capteurs n'est fermée",
    ),
    "exchanged": (
        "la pression monte le long des filtres : points probablement échangés",
        f"Vérifier quel capteur de pression est branché où, et les lignes des points dans le fichier du poste; {_DRAW}",
    ),
    "flow_no_drop": (
        "le compteur dit puisage, aucun capteur de pression ne bouge",
        f"Vérifier le débitmètre, les câbles des capteurs de pression et leurs vannes d'isolement; {_DRAW}",
    ),
    "still_in_draw": (
        "n'a pas bougé, ou seulement d'un dernier chiffre, pendant un puisage",
        f"Vérifier le capteur de pression, son câble et sa vanne d'isolement; {_DRAW}",
    ),
    "stage": (
        "ne prend rien pendant que l'eau coule : non monté, contourné, ou les deux capteurs du même côté",
        f"Vérifier que le filtre est monté et où ses capteurs de pression sont piqués; {_DRAW}",
    ),
    "static_low": (
        "est resté trop bas sans puisage : ce qu'a montré le dernier puisage ne vaut plus",
        f"Vérifier que la vanne d'arrêt est ouverte; {_DRAW}",
    ),
    "static_sunk": (
        "en baisse depuis le dernier puisage",
        "Tirer de l'eau à nouveau pendant une demi-minute; si la pression reste basse, vérifier l'arrivée d'eau",
    ),
    "short_low": (
        "trop courts pour être réguliers, tous ont montré moins qu'il ne faut en puisage",
        "Tirer de l'eau pendant une demi-minute; si la pression reste basse, ouvrir en grand la vanne d'arrêt et vérifier l'arrivée d'eau",
    ),
    "unseen_low": (
        "au-dessous du minimum pendant que les filtres prenaient de la pression, et le compteur n'en a rien dit",
        f"Vérifier le débitmètre; {_DRAW}",
    ),
    "draw_out": (
        "hors limites lors d'un puisage dont la fin n'a pas été vue", "Tirer de l'eau pendant une demi-minute",
    ),
    "frozen": (
        "est plus immobile que jamais", "Comparer à un instrument de référence; remplacer le capteur s'il est figé",
    ),
    "stopped": (
        "immobiles depuis un même instant : ce qui les lit répète ses dernières réponses",
        "Redémarrer la passerelle ou l'adaptateur, vérifier câble et alimentation; puis voir que les points bougent",
    ),
    "unmoved": (
        "n'a pas bougé depuis que des écritures du journal ont été perdues : on le savait peut-être figé",
        "Attendre qu'il bouge, ou le comparer à un instrument de référence",
    ),
    "toggling": (
        "reste à un pas près, alors que son liquide oscille",
        "Comparer à un instrument de référence; remplacer le capteur s'il est bloqué",
    ),
    "jumped": (
        "a monté d'un saut comme aucun chauffage ne chauffe",
        (
            "Comparer la sonde à un instrument de référence et l'enregistrer comme étalonnage; si du liquide chaud a été versé ou la sonde "
            "déplacée, l'enregistrer{typed: (disinfectant_fill, disinfectant_top_up, service avec son point)}"
        ),
    ),
    "restless": (
        "oscille de plusieurs kelvins comme aucun liquide",
        "Vérifier connecteur, câble et alimentation de la sonde; la comparer à un instrument de référence",
    ),
    "unheated": (
        "reste chaud bien que la prise de son chauffage se soit déclenchée",
        "Comparer la sonde à un instrument de référence et l'enregistrer comme étalonnage; voir quelle prise alimente le chauffage",
    ),
    "basin_cold": (
        "se repose bien plus froid que sa pièce",
        (
            "Comparer les sondes du bac et de la pièce à un instrument de référence, et l'enregistrer comme étalonnage; s'assurer que le "
            "bac est vide"
        ),
    ),
    "room_warm": (
        "indique plus chaud qu'une pièce ne peut l'être à côté du liquide",
        "S'assurer que la sonde de la pièce est suspendue librement, loin de la cuve, du soleil et du chauffage",
    ),
}  # fmt: skip

_STOPS: Final = "Le poste ne peut pas démarrer tant que ce n'est pas fait"
_DO_IT: Final = "Le faire et l'enregistrer"
_ALARMS: Final[Mapping[str, RowWords]] = {
    "reservoir_cold": (
        "Le contact dans le bac serait au-dessous du minimum de l'étiquette : aucun cycle ne doit démarrer",
        "S'assurer que le chauffage est allumé et sa prise sous tension; attendre l'heure prévue, ou chauffer la pièce",
    ),
    "reservoir_hot": (
        "Hors de la plage de l'étiquette; endoscopes et liquide peuvent souffrir; surfaces chaudes et vapeur",
        "Ne pas démarrer; laisser refroidir; faire vérifier le thermostat selon les règles du fabricant",
    ),
    "not_heating": (
        "Il ne chauffe pas assez : aucun cycle ne doit démarrer",
        (
            "S'assurer que le chauffage est allumé et son thermostat réglé; fermer le couvercle; faire vérifier chauffage et thermostat "
            "par du personnel habilité"
        ),
    ),
    "heating_weak": (
        "La chauffe prend plus de temps qu'avant : un élément faiblit peut-être, ou le couvercle est ouvert",
        "Fermer le couvercle; compter avec l'heure plus tardive; faire vérifier le chauffage par du personnel habilité",
    ),
    "late_for_first_case": (
        "Le premier cas du jour doit attendre",
        "Chauffer maintenant si ce n'est pas le cas; fermer le couvercle, chauffer la pièce; dire à qui planifie les cas l'heure prévue",
    ),
    "pressure_low": (
        "Canaux et rinçages reçoivent trop peu d'eau",
        "Ouvrir entièrement la vanne d'arrêt; voir si d'autres tirent de l'eau; vérifier le détendeur de l'arrivée d'eau",
    ),
    "pressure_high": (
        "Raccords et boîtiers de filtres sont sollicités",
        "Faire régler le détendeur de l'arrivée d'eau; se tenir à l'écart des boîtiers sous pression",
    ),
    "static_high": (
        "Raccords et boîtiers de filtres sont sollicités sans puisage",
        "Faire vérifier le détendeur de l'arrivée d'eau; se tenir à l'écart des boîtiers sous pression",
    ),
    "static_low": (
        "Moins au repos qu'il ne faut en puisage : remplissages et rinçages recevraient trop peu d'eau",
        "Ouvrir la vanne d'arrêt; voir si l'eau du bâtiment est coupée; puis tirer de l'eau pendant une demi-minute",
    ),
    "flow_low": (
        "Remplissages et rinçages prennent trop de temps",
        "Ouvrir entièrement la vanne d'arrêt; vérifier les chutes de pression des filtres",
    ),
    "flow_high": (
        "Un tuyau est peut-être débranché, ou le facteur du compteur faux", "Chercher de l'eau qui coule",
    ),
    "outlet_tripped": (
        "Pas de courant derrière cette prise : ce qu'elle alimente s'arrête ou refroidit",
        "Garder les mains sèches; ne pas réarmer plus d'une fois : faire trouver la cause par du personnel habilité",
    ),
    "outlet_test_failed": (
        "Cette prise ne protège peut-être pas les personnes d'un choc électrique; le poste ne doit pas démarrer",
        "Ne rien utiliser de ce qu'elle alimente; la faire réparer par du personnel habilité, puis la tester à nouveau et l'enregistrer",
    ),
    "leak": ("De l'eau là où il ne devrait pas y en avoir", "Fermer la vanne d'arrêt; essuyer; trouver d'où elle vient"),
    "filter_due": (
        "Les rinçages s'allongent; un filtre périmé peut laisser passer ce qu'il devrait retenir",
        "Remplacer le filtre selon la notice de son fabricant; ensuite le traitement du circuit d'eau est dû",
    ),
    "filter_fell": (
        "Un filtre déchiré ou contourné laisse passer ce qu'il devrait retenir",
        "S'il a été remplacé, l'enregistrer; sinon faire examiner le filtre et ses joints avant d'utiliser l'eau",
    ),
    "silent": (
        "Ce que ce point devrait dire est inconnu",
        "S'assurer que son connecteur est en place et son câble intact; d'ici là, lire à l'œil ce qu'il devrait dire",
    ),
    "bus_lost": (
        "Aucun de ses points ne peut être lu",
        "Rebrancher l'adaptateur à la carte; d'ici là, lire à l'œil ce que ses points devraient dire",
    ),
    "duty_due": (_STOPS, _DO_IT),
    "hold": ("Le poste est bloqué et ne doit pas démarrer", "Demander à qui l'a bloqué"),
    "backup_overdue": (
        "Si le disque de la carte tombe en panne, ce qui a été enregistré depuis la dernière sauvegarde est perdu",
        "Vérifier que le disque de la sauvegarde est branché et a de la place ; à la main : warmwell backup DEST",
    ),
    "archive_silent": (
        "Ce qui est enregistré ici ne se trouve peut-être que sur le disque de cette carte",
        "Vérifier que l'archive fonctionne et que le broker la laisse le dire ; d'ici là, sauvegarder : warmwell backup DEST",
    ),
    "certificate_ends": (
        "Une fois qu'il a pris fin, les navigateurs mettent en garde et les programmes qui le vérifient n'interrogent plus la page",
        "Le faire renouveler par l'autorité du site et mettre les fichiers en place ; le sien propre : warmwell certificate make FILE",
    ),
    "disk_low": (
        "Les lectures, plus tard le journal, ne peuvent pas être conservées",
        "Libérer de la place sur le disque de la carte, ou remplacer la carte mémoire",
    ),
    "clock_untrusted": (
        "Les échéances ne peuvent pas être établies", "S'assurer que la carte atteint son serveur de temps",
    ),
    "store": (
        "Ce qui est mesuré ou enregistré ici n'est peut-être pas conservé; des saisies peuvent être refusées",
        "Remplacer bientôt la carte mémoire ou le disque; d'ici là noter sur papier et saisir ensuite",
    ),
    "untold": (
        "Qui est nommé n'apprend rien des alarmes loin d'ici",
        "S'assurer que réseau, broker et destinataires fonctionnent; warmwell tell FILE --test les essaie chacun",
    ),
    "duty_due.daily_test": (_STOPS, _DO_IT),
    "duty_due.daily_test_of_basin": ("Le bac {basin} ne peut pas démarrer tant que ce n'est pas fait", _DO_IT),
    "duty_due.calibration": (
        "Les conditions qui reposent sur ce point ne sont remplies que nominalement jusqu'à son étalonnage",
        "Comparer le point à une référence et l'enregistrer",
    ),
    "duty_due.water_path_treatment": (_STOPS, _DO_IT),
    "duty_due.disinfectant_change": (_STOPS, _DO_IT),
    "duty_due.concentration_check": (_STOPS, _DO_IT),
    "duty_due.by_calendar": (
        "Ce que le site a prévu est en retard; le verdict dit si le poste peut tout de même démarrer", _DO_IT,
    ),
}  # fmt: skip

ROWS: Final[Mapping[str, str]] = {
    **row_words(_REASONS, _CHECKS, _ALARMS),
    "alarm.reservoir_cold.beyond": "{here} dans le réservoir, au-dessous de {limit}",
    "alarm.reservoir_hot.beyond": "{here} dans le réservoir, au-dessus de {limit}",
    "alarm.pressure_low.beyond": "{here} en puisage, au-dessous de {limit}",
    "alarm.pressure_high.beyond": "{here} en puisage, au-dessus de {limit}",
    "alarm.static_high.beyond": "{here} sans puisage, au-dessus de {limit}",
    "alarm.flow_low.beyond": "{here} en puisage, au-dessous de {limit}",
    "alarm.flow_high.beyond": "{here} en puisage, au-dessus de {limit}",
}
