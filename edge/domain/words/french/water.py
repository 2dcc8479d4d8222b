"""French of water: supply, filters, leak."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

WATER: Final[Mapping[str, str]] = {
    # what draws showed
    "draw.ask": "Tirer de l'eau pendant une demi-minute",
    "draw.none": "aucun puisage régulier encore pour en juger",
    "draw.none_since_ran_on": "aucun puisage encore depuis que l'eau a coulé sans arrêt",
    "draw.too_long_ago": "dernier puisage régulier {age:when}",
    "draw.shown": "{here}{nominal} en puisage{inferred}",
    "draw.inferred": " (pas de débitmètre : supposé tant que les filtres prennent de la pression)",
    "draw.beyond": "{shown}, {beyond}",
    "draw.below.ask": "Ouvrir entièrement la vanne d'arrêt; vérifier l'arrivée d'eau et les filtres; puis tirer de l'eau à nouveau",
    "draw.above.ask": "Faire régler le détendeur de l'arrivée d'eau; puis tirer de l'eau à nouveau",
    "draw.alarm_since": "{shown}, mais une alarme est venue lors d'un puisage ultérieur dont la fin n'a pas été vue",
    # what stands at rest
    "pressure.static_high": "{here} sans puisage : trop haut",
    "pressure.static_high.ask": "Faire régler le détendeur de l'arrivée d'eau",
    "pressure.static_was_high": "sans puisage elle était au-dessus de {limit}",
    "pressure.static_beyond": "{here}{nominal} sans puisage, {beyond}",
    "pressure.static_not_yet_below": "{here}{nominal} sans puisage, depuis trop peu de temps au-dessous de {limit}",
    "pressure.static_low": "{here}{nominal} sans puisage : au-dessous de ce qu'il faut en puisage, {least}",
    "pressure.static_low.ask": "Ouvrir la vanne d'arrêt; vérifier l'arrivée d'eau; puis tirer de l'eau pendant une demi-minute",
    # what is read by eye
    "supply.fall": (
        "la pression de l'alimentation a baissé de {by} pendant {lasted} sans que le débitmètre montre un "
        "puisage : {falls} baisses sur {wanted} avant que l'on doute de lui"
    ),
    "supply.fall.advice": "Puiser de l'eau pendant une demi-minute et voir si le débitmètre le montre",
    "supply.read": "{here}, lu par {by}",
    "supply.read_outside": "{here}, lu par {by} : hors limites",
    "supply.read_outside.ask": "Y remédier et relire",
    "supply.read_but_sunk": "{here}, lu par {by}, mais depuis {point} se repose au-dessous du minimum en puisage",
    "supply.read_but_sunk.ask": "Ouvrir entièrement la vanne d'arrêt; puis relire",
    # what the supply can give, and how long a fill takes
    "supply.could_give": "; l'arrivée d'eau pourrait donner {flow} à {least}",
    "supply.cannot_serve": "; l'arrivée d'eau ne suffit pas : elle ne pourrait donner que {flow} à {least}, il faut {wanted}",
    "supply.perhaps_cannot_serve": (
        "; l'arrivée d'eau ne suffit peut-être pas : elle ne pourrait donner que {flow} à {least}, il faut {wanted}"
    ),
    "supply.no_flow_meter": "pas de débitmètre",
    "supply.no_pressure": "pas de pression de l'arrivée d'eau",
    "supply.no_fall": "aucun puisage régulier récent qui ait fait baisser la pression",
    "fill.too_few_draws": "trop peu de puisages d'un même volume encore",
    "fill.of": "pour {litres:.2f L}{trend}",
    "fill.takes": "; un remplissage de {litres:.1f L} prend {lasts:.0f s}{trend}",
    "fill.longer": (
        "; {share:.0%} de plus qu'il y a {days:.0f} jours : un filtre qui se charge, ou une arrivée d'eau plus faible"
    ),
    "fill.shorter": "; {share:.0%} de moins qu'il y a {days:.0f} jours",
    # a filter's drop and age
    "filter.cause": "filtre {filter} : {why}{at_once}",
    "filter.change": "Remplacer le filtre {filter}",
    "filter.failed": "{by} l'a examiné et l'a trouvé défaillant",
    "filter.drop": "chute de pression {drop} au débit de référence",
    "filter.no_drop": "chute de pression inconnue",
    "filter.beyond": "{drop}, {beyond}",
    "filter.was_above": "après avoir été au-dessus de {limit}",
    "filter.due_by_age": "dernier remplacement {age:when}; à remplacer après {months} mois",
    "filter.no_change": "{drop}; aucun remplacement enregistré",
    "filter.no_change.ask": "Enregistrer quand le filtre {filter} a été remplacé pour la dernière fois",
    "filter.fell": "chute de pression passée de {before} à {after} : déchiré, contourné, ou remplacé sans enregistrement",
    "filter.fell.ask": (
        "Enregistrer le remplacement du filtre {filter}, ou le faire examiner avec ses joints et enregistrer cet entretien"
    ),
    "filter.fell_suddenly": (
        "la chute de pression a baissé soudainement : déchiré, contourné, ou remplacé sans enregistrement"
    ),
    "filter.gains": "{drop} : un filtre ne peut pas gagner de pression",
    "filter.gains.ask": "Vérifier si les connecteurs des capteurs de pression sont échangés",
    "filter.perhaps_above": "{drop}, peut-être au-dessus de {limit} : {why}",
    "filter.perhaps_above.ask": "Mesurer la température de l'eau",
    # all filters as one
    "filter.total": "chute de pression {total} sur tous les filtres, pas de pression entre eux",
    "filter.total_above": "{total} : plus que leurs limites ensemble",
    "filter.total_above.ask": "Remplacer les filtres; installer un point de pression entre eux pour savoir lequel",
    "filter.alone_may_be": "{total} : celui-ci peut à lui seul être au-dessus de {limit}",
    "filter.alone_may_be.ask": "Installer un point de pression entre les filtres, ou remplacer le filtre {filter}",
    "filter.lumped": "pas de pression entre les filtres : seule la chute sur tous est connue",
    "filter.lumped_drop": "pas de pression entre les filtres : seule la chute sur tous est connue : {total}",
    "filter.lumped_left": (
        "pas de pression entre les filtres : seule la chute sur tous est connue; reste jusqu'à la somme de leurs limites"
    ),
    # why a filter's drop isn't known, or what it is worth
    "filter.no_draw": "aucun puisage régulier récent pour juger de la chute de pression",
    "filter.no_draw_lumped": "aucun puisage régulier récent pour juger de la chute de pression des filtres",
    "filter.no_draw_yet": "aucun puisage régulier pour en juger",
    "filter.no_pressure": "pas de pression avant ou après lui",
    "filter.no_meter": (
        "pas de débitmètre : les chutes de pression ne sont pas comparables, et le volume passé est inconnu"
    ),
    "filter.no_supply": "aucun puisage reconnu : le fichier du poste n'a pas de section [supply]",
    "filter.no_supply.ask": "Ajouter une section [supply] au fichier du poste",
    "filter.not_measured": "aucune pression n'est mesurée avant et après lui",
    "filter.not_measured.ask": "En juger à l'œil et par son âge",
    "filter.by_eye": "la chute de pression ne peut pas être jugée d'après ce qui est lu à l'œil",
    "filter.by_eye.ask": "Installer un point de mesure ({role:role}), ou omettre drop_limit",
    "filter.as_drawn": "telle que puisée : le fichier du poste ne donne pas de débit de référence",
    "filter.flow_assumed": (
        "pas de débitmètre : le débit du fichier du poste est supposé chaque fois que les filtres prennent de la pression"
    ),
    "filter.no_zeros": "les capteurs de pression n'ont jamais été vus au repos : leurs zéros peuvent y entrer",
    "filter.unsure": "trop peu de puisages encore pour dire si c'est sûr",
    "filter.blind": "pas de température de l'eau : non ramenée à la viscosité de référence{cold}",
    "filter.blind.cold": ", et en cette saison {share:.0%} de la chute peuvent venir de l'eau froide",
    # what a filter will still let through
    "filter.left": "; encore environ {days:.0f} jours ({low:.0f} à {high:.0f}), jusqu'au {until:date}{first}",
    "filter.left.first": ", le premier à atteindre sa limite",
    "filter.first": "le premier à atteindre sa limite",
    "filter.does_not_load": "; la chute de pression n'augmente pas : il ne se charge pas",
    "filter.hardly_grows": "la chute de pression augmente à peine : plus qu'on ne peut dire",
    "filter.no_limit": "le fichier du poste ne donne pas de drop_limit",
    "filter.too_few_draws": "trop peu de puisages réguliers depuis son remplacement",
    "filter.too_few_days": "trop peu de jours d'utilisation vus encore",
    "filter.clock_untrusted": "l'horloge n'est pas fiable",
    "filter.due_by_age_in": "par son âge, à remplacer dans (jours) : {days:.0f}",
    "filter.ten_years": "plus de dix ans",
    # changing all at once
    "filter.used": "{filter} {share:.0%}",
    "filter.used_most": "; {filter} a le plus entamé sa limite ({shares:and})",
    "filter.change_both": "{most}; remplacer les deux à la fois demande un seul traitement du circuit d'eau au lieu de plusieurs",
    "filter.change_all": "{most}; les remplacer tous à la fois demande un seul traitement du circuit d'eau au lieu de plusieurs",
    # leaks
    "leak.ask": "Fermer la vanne d'arrêt; trouver d'où vient l'eau",
    "leak.wet": "{point} est mouillé",
    "leak.seen_wet": "{by} a vu de l'eau",
    "leak.runs_on": (
        "l'eau coule depuis {span:.0f min} sans arrêt : une vanne ne ferme pas, ou un tuyau est débranché"
    ),
    "leak.bled": (
        "la pression est passée de {before} à {after} en {within:.0f min} sans puisage : "
        "si la vanne d'arrêt est fermée, l'eau fuit derrière elle; si elle est ouverte, l'arrivée d'eau est coupée"
    ),
    "leak.passed": "{litres:.1f L} ont passé en {within:g h} sans puisage",
    "leak.drip": "{litres:.1f L} ont passé en {within:g h} sans arrêt et sans puisage",
    "leak.drip.advice": (
        "Fermer la vanne d'arrêt pour la nuit et voir si cela s'arrête; vérifier évacuations, tuyaux et vanne de remplissage de l'appareil"
    ),
    "leak.none": "aucune fuite vue{polled}",
    "leak.none_but": "aucune fuite vue; mais {drip}{polled}",
    "leak.none_unmetered": "aucune fuite vue{polled}; aucun débitmètre ne dit ce qui passe inaperçu",
    "leak.none_read": "aucune fuite vue; {by} a lu le compteur",
    "leak.no_quiet_half_hour": "pas encore de demi-heure calme",
    "leak.least_flow": "le plus petit débit d'une demi-heure sans puisage, en un jour",
    "leak.least_flow_unsure": (
        "le plus petit débit d'une demi-heure sans puisage, en un jour; "
        "le fichier du poste ne donne ni la résolution du compteur ni son incertitude : impossible de dire si c'est sûr"
    ),
}
