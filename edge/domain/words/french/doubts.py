"""French of doubts: their causes, what ends them, and points and sections that leave a station unknown."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

DOUBTS: Final[Mapping[str, str]] = {
    "doubt.of": "{points} : {says}",
    "doubt.explained": "{point} s'explique par une saisie : {record:record}",
    # points that stand still
    "doubt.frozen": "{point} est figé : immobile depuis {still}, jamais plus de {longest} auparavant",
    "doubt.stopped": "valeurs répétées depuis {still}, à partir d'un même instant : {points}",
    "doubt.moves_again": "{point} bouge à nouveau",
    "doubt.moves": "{point} bouge",
    "doubt.toggling": (
        "{point} est bloqué : à un pas près depuis {rests}, jamais plus de {longest} auparavant pendant que son liquide oscillait"
    ),
    "doubt.toggling.over": "{point} bouge à nouveau de plus d'un pas",
    # the reservoir's probes
    "doubt.restless": "{point} oscille de {swing:g K} et plus, en quelques minutes : aucun liquide ne fait cela",
    "doubt.restless.over": "{point} n'oscille plus",
    "doubt.jumped": (
        "{point} est passé de {before} à {after} en {within} et y est resté : un chauffage fait {heats:.2g} K/min au plus"
    ),
    "doubt.jumped.back": "{point} est revenu d'un saut",
    "doubt.unheated.rises": (
        "{point} a monté de {rise:.2g K} jusqu'à {level}, {since} après le déclenchement de {outlets:and} : rien ne chauffe"
    ),
    "doubt.unheated.stays": (
        "{point} reste à {level}, {since} après le déclenchement de {outlets:and} : "
        "en {within} sans chauffage la baisse est d'au moins {least:.2g K}"
    ),
    "doubt.unheated.cools": "{point} refroidit comme un liquide que rien ne chauffe",
    # rooms and basins
    "doubt.room_warm": "{point} {says} ({here}) : {than}",
    "doubt.room_warm.than_rooms": "les pièces utilisées ne sont pas plus chaudes",
    "doubt.room_warm.than_liquid": "à côté d'un liquide à {liquid}",
    "doubt.room_warm.over": "{point} indique à nouveau ce qu'une pièce peut avoir",
    "doubt.basin_cold": (
        "{point} se repose à {here} dans une pièce à {room} : plus froid de plus de {colder:g K}, depuis des heures"
    ),
    "doubt.basin_cold.over": "{point} est à nouveau aussi chaud que sa pièce",
    # meter and gauges
    "doubt.no_pulses": "{says} : baisses sans impulsion : {falls}",
    "doubt.meter_shows_draw": "le compteur montre un puisage",
    "doubt.exchanged_unseen": "{says}; et le compteur ne dit rien de l'eau qui coule",
    "doubt.exchanged.over": "un puisage montre les pressions dans l'ordre",
    "doubt.flow_no_drop.over": "un puisage se voit sur les capteurs de pression",
    "doubt.still_in_draw.over": "la valeur bouge avec un puisage",
    "doubt.zero": "{points:and} : {says} : {off}",
    "doubt.zero.over": "les capteurs de pression concordent à nouveau au repos",
    # what the last draw showed
    "doubt.unseen_low": "{here}, {says}",
    "doubt.static_low": "arrivée d'eau : {says}",
    "doubt.static_sunk": (
        "{here} sans puisage, {was} lors du dernier puisage : {says}, et un puisage laisserait {left} alors qu'il faut {least}"
    ),
    "doubt.static_sunk.over": "au repos, de nouveau assez haut",
    "doubt.short_low": "puisages : {draws}, {says}, le dernier {last}",
    "doubt.draw_out": "{here} : {says}",
    "doubt.drawn_anew": "un puisage montre la pression à nouveau",
    # filters
    "doubt.stage": "filtre {filter} : {says}",
    "doubt.stage.too_little": (
        "le filtre {filter} prend {takes}, un filtre propre prenait {took} : "
        "un boîtier vide, un filtre déchiré ou contourné; si c'est normal, enregistrer qu'il a été examiné"
    ),
    "doubt.stage.over": "le filtre {filter} prend de la pression en puisage",
    # points that no condition rests on
    "unjudged.second_of_role": "un second point du rôle {role:role}, dont seul le premier est jugé",
    "unjudged.no_filter": "{role:role} est lu, mais aucun [[filter]] ne dit ce qu'un filtre peut prendre",
    # sections that are missing
    "section.no_reservoir": "aucune section [reservoir] ne dit quelle température il faut",
    "section.no_pressure": "aucune section [supply] ne dit quelle pression il faut",
    "section.no_flow": "aucune section [supply] ne dit quel débit il faut",
    "section.ask": "Ajouter la section au fichier du poste",
}
