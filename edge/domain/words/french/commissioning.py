"""French of the commissioning list: its items, what to do for each, and how they stand."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

COMMISSIONING: Final[Mapping[str, str]] = {
    "commissioning.not_yet": "Pas mis en service : {left:d} points de la liste sur {all:d} restent à faire.",
    "commissioning.left": "pas mis en service : {left:d} points de la liste sur {all:d} restent à faire",
    "commissioning.done": "mise en service : chaque point de la liste est fait",
    "commissioning.ask": "Parcourir la liste de mise en service{typed: (warmwell commission)}",
    "commissioning.group.site": "Site",
    "commissioning.group.sensors": "Capteurs",
    "commissioning.group.water": "Eau",
    "commissioning.group.heat": "Chaleur",
    "commissioning.group.system": "Alarmes, courant, horloge",
    "commissioning.group.own": "Propre au site",
    "commissioning.state.open": "à faire",
    "commissioning.state.reopened": "à refaire",
    "commissioning.state.passed": "réussi",
    "commissioning.state.failed": "échoué",
    "commissioning.state.not_applicable": "sans objet",
    "commissioning.item.standpipe": "Vidange et tuyau vertical",
    "commissioning.do.standpipe": (
        "Vérifier que le tuyau de vidange finit dans un tuyau vertical au moins 30 cm (1 ft) sous le raccord de vidange de l'appareil, "
        "sans boucle ni pli"
    ),
    "commissioning.item.shut_off": "Vanne d'arrêt",
    "commissioning.do.shut_off": "Vérifier qu'une vanne d'arrêt est à portée de main, s'ouvre à fond et ferme sans fuite",
    "commissioning.item.housings": "Dégagement sous les porte-filtres",
    "commissioning.do.housings": "Vérifier que chaque bol peut descendre et sa cartouche sortir sans que rien ne gêne",
    "commissioning.item.reservoir_below": "Réservoir sous le bac",
    "commissioning.do.reservoir_below": "Vérifier que le réservoir se trouve sous le bac, pour que rien ne revienne",
    "commissioning.each.outlet": "Prise {of} à protection différentielle",
    "commissioning.do.outlet": (
        "Appuyer sur le bouton de test de la prise : le poste doit voir qu'elle déclenche. La réarmer et enregistrer dans l'heure"
    ),
    "commissioning.item.outlets": "Prises à protection différentielle",
    "commissioning.do.outlets": (
        "Vérifier que tout est branché sur des prises à protection différentielle et que chacune déclenche par son bouton de test"
    ),
    "commissioning.item.filter_order": "Filtres dans l'ordre, serrés à la main",
    "commissioning.do.filter_order": (
        "Vérifier que le filtre grossier vient avant le filtre fin dans le sens du courant et que les bols sont serrés à la main"
    ),
    "commissioning.item.no_leaks": "Pas de fuites",
    "commissioning.do.no_leaks": "Sous pression, regarder chaque raccord, bol, manomètre et tuyau : tout doit être sec",
    "commissioning.item.clock": "Horloge",
    "commissioning.do.clock": "Comparer l'heure du poste à une montre juste ; le poste doit se fier à son horloge",
    "commissioning.each.calibration": "Étalonnage de {of}",
    "commissioning.do.calibration": "Comparer à un instrument de référence et l'enregistrer{typed: (warmwell calibrate)}",
    "commissioning.each.zero": "Zéro de {of}, à l'air libre",
    "commissioning.do.zero": (
        "Fermer la vanne, relâcher la pression, ouvrir le capteur à l'air, attendre qu'il soit stable ; puis prendre sa lecture"
    ),
    "commissioning.each.step": "Saut de pression à {of}",
    "commissioning.do.step": (
        "Ouvrir la vanne sans rien puiser : la lecture doit monter à la pression de l'alimentation ; puis la prendre"
    ),
    "commissioning.item.bucket": "Débitmètre contre un seau",
    "commissioning.do.bucket": (
        "Puiser au débit habituel dans un seau gradué pendant une demi-minute ou plus ; saisir litres et secondes, et ce que le débitmètre "
        "montrait, ou le laisser vide pour ce que le dernier puisage a donné"
    ),
    "commissioning.item.static": "Pression au repos",
    "commissioning.do.static": "Ne rien puiser pendant quelques minutes ; puis prendre la lecture",
    "commissioning.item.dynamic": "Pression pendant le puisage",
    "commissioning.do.dynamic": "Puiser de l'eau au débit habituel une demi-minute ou plus ; puis prendre ce que le puisage a montré",
    "commissioning.item.drawn": "Débit pendant le puisage",
    "commissioning.do.drawn": "Puiser de l'eau une demi-minute ou plus ; puis prendre ce que le puisage a montré",
    "commissioning.item.capacity": "Ce que l'alimentation peut donner",
    "commissioning.do.capacity": "Après un puisage, prendre le débit que l'alimentation donne à la plus basse pression permise",
    "commissioning.item.decay": "Chute de pression, vanne fermée",
    "commissioning.do.decay": (
        "Fermer la vanne et ne rien puiser ; puis commencer : le poste suit la pression pendant {time} et termine de lui-même. Ou saisir "
        "ce qu'elle était avant et après. Relâcher la pression avant d'ouvrir quoi que ce soit"
    ),
    "commissioning.each.drop": "Chute de pression du filtre {of} propre, comme départ",
    "commissioning.do.drop": "Avec une cartouche neuve, puiser de l'eau une demi-minute ou plus ; puis prendre la chute de pression",
    "commissioning.item.warm_up": "Une chauffe entière, apprise",
    "commissioning.do.warm_up": (
        "Laisser chauffer le liquide de la température du local à sa consigne, couvercle fermé : le poste en apprend"
    ),
    "commissioning.item.transfer": "Perte au transfert au premier cycle d'un jour",
    "commissioning.do.transfer": (
        "Avec une sonde dans le bac, faire le premier cycle d'un jour selon la notice du fabricant : le poste mesure la perte. Avec un "
        "thermomètre à la main, saisir ce qu'il montrait comme remarque. Sans l'un ni l'autre, c'est sans objet"
    ),
    "commissioning.item.alarm_test": "Alarme vue par la gestion technique",
    "commissioning.do.alarm_test": (
        "Provoquer une alarme, par le bouton de test d'une prise, et la faire voir et acquitter là-bas ; si la réponse ne revient pas ici "
        "toute seule, saisir comme remarque qui l'a vue"
    ),
    "commissioning.item.restart": "Coupure de courant et redémarrage",
    "commissioning.do.restart": (
        "Sans cycle en cours, couper l'alimentation électrique du poste même et la rétablir : il doit revenir tout seul"
    ),
    "commissioning.caution.pressure": (
        "Sous pression : la relâcher avant d'ouvrir quoi que ce soit, se protéger les yeux. La notice du fabricant passe avant"
    ),
    "commissioning.caution.mains": (
        "Tension du secteur : ne rien ouvrir ; ce qui ne va pas est pour le personnel habilité. La notice du fabricant et les règles "
        "locales passent avant"
    ),
    "commissioning.caution.heat": (
        "Liquide et vapeur chauds : ne pas toucher, garder le couvercle fermé. La notice du fabricant passe avant"
    ),
    "commissioning.caution.liquid": (
        "Désinfectant : gants, lunettes et ventilation selon son étiquette. La notice du fabricant passe avant"
    ),
    "commissioning.source.practice": "usage courant, sans source publiée",
    "commissioning.source.station": "limite du fichier du poste",
    "commissioning.source.site": "propre au site",
    "commissioning.live": "mesuré par le poste",
    "commissioning.entered": "saisi",
    "commissioning.timed": "{seen} ({limits}), chronométré par le poste",
    "commissioning.fallen": "a baissé de {fall} en {time} ({rate:.2f own} par minute), de {first} à {last}",
    "commissioning.watched": "commencé à {here}",
    "commissioning.unusable": "inutilisable : {why}",
    "commissioning.unusable.flowed": "de l'eau a coulé alors que la vanne devait être fermée",
    "commissioning.unusable.lost": "la pression ne pouvait plus être lue",
    "commissioning.unusable.rose": "la pression est remontée, comme quand on ouvre la vanne",
    "commissioning.unusable.stopped": "on y a mis fin avant son terme",
    "commissioning.unusable.restarted": "le poste a été redémarré entre-temps, ou ses réglages ont changé",
    "commissioning.measured": "{here} ({limits}), {how}",
    "commissioning.between": "{low} à {high}",
    "commissioning.at_least": "au moins {low}",
    "commissioning.at_most": "au plus {high}",
    "commissioning.share": "au plus {most:.1%}",
    "commissioning.bucket_gave": "débitmètre {off:+.1%} \u00b1 {u:.1%} contre le seau ({limits}), {how}",
    "commissioning.seen_by_station": "vu par le poste même",
    "commissioning.compared": "comparé à une référence",
    "commissioning.warm_ups": "apprises : {n:d}",
    "commissioning.transfers": "mesurées : {n:d}",
    "commissioning.restarted": "il est revenu après une coupure de courant",
    "commissioning.answered": "{alarm:alarm} : acquittée par un programme qui a sa propre identité",
    "commissioning.again": "{why}",
    "commissioning.file_changed": "modifié depuis dans le fichier du poste : {section}",
    "commissioning.record_came": "depuis : {record:record}, {at:date}",
    "commissioning.no_such_item": "pas de tel point dans la liste du poste : {named}{there}",
    "commissioning.journal_only": "le journal n'en montre encore rien, et lui seul le peut : le faire d'abord",
    "commissioning.nothing_told": (
        "{typed:ni passed ni not_applicable ne sont donnés}{forms:il n'est pas dit si c'est réussi}"
    ),
    "commissioning.no_number": (
        "le poste n'en a pas de lecture maintenant : puiser de l'eau, attendre le capteur, ou saisir une valeur"
    ),
    "commissioning.no_before": "la pression à la fermeture de la vanne n'est pas donnée{typed: (before)}",
    "commissioning.no_bucket": "litres et secondes sont tous deux nécessaires",
    "commissioning.none_timed": "le poste ne chronomètre rien en ce moment",
    "commissioning.already_timed": "le poste le chronomètre déjà",
    "commissioning.not_timed": "le poste ne chronomètre pas ce point",
    "commissioning.no_pressure": "le poste n'a pas de lecture de la pression maintenant : voir le capteur, ou chronométrer à la main",
    "commissioning.water_runs": "de l'eau coule : attendre qu'elle s'arrête, fermer la vanne, puis commencer",
    "commissioning.little_pressure": (
        "la conduite tient {here}, et sous {least} une baisse ne dit rien : la laisser se remplir, fermer la vanne, puis commencer"
    ),
    "commissioning.bucket_too_coarse": "incertain de {u:.1%}, plus que les {most:.1%} permis : puiser plus d'eau, plus longtemps",
}
