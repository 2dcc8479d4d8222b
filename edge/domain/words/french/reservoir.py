"""French of the heated liquid: the reservoir, its heating and cooling, and the transfer to the basin."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

RESERVOIR: Final[Mapping[str, str]] = {
    # the condition, by the first probe
    "reservoir.unheard": "la température du réservoir est inconnue : {why}{since}",
    "reservoir.doubtful": "{here}{nominal}, mais {why}",
    "reservoir.above_maximum": "{here}{nominal}, au-dessus du maximum permis, {most}",
    "reservoir.below_maximum_too_short": "{here}{nominal}, depuis trop peu de temps au-dessous du maximum permis, {most}",
    "reservoir.above_maximum.ask": "Laisser refroidir; faire vérifier le thermostat",
    "reservoir.above_label": "{here}{nominal} : le bac aurait {basin}, au-dessus du maximum de l'étiquette, {most}",
    "reservoir.below_label_too_short": (
        "{here}{nominal} : le bac aurait {basin}, depuis trop peu de temps au-dessous du maximum de l'étiquette, {most}"
    ),
    "reservoir.above_label.ask": "Baisser la consigne dans la plage de l'étiquette, ou laisser refroidir",
    "reservoir.in_room": "pièce à {room}, perte au transfert {loss}",
    "reservoir.in_assumed_room": "pièce supposée à {room}, perte au transfert {loss}",
    "reservoir.warm": "{here}{nominal}, il faut {needed}; {room}",
    "reservoir.unsure": "{here}{nominal}, {why}; il faut {needed}; {room}",
    "reservoir.unsure.room_cools": "mais la pièce refroidit : le liquide peut être plus froid que sa sonde",
    "reservoir.unsure.falling": "et en baisse : le liquide peut être plus froid que sa sonde",
    "reservoir.unsure.topped_up": (
        "mais complété : du liquide froid peut se trouver sous la sonde tant qu'aucune hausse n'est visible"
    ),
    "reservoir.too_cold": "{here}{nominal}; il faut {needed}; {room}; le bac aurait {basin}",
    "reservoir.warm_too_short": (
        "{here}{nominal}, depuis trop peu de temps au-dessus de ce qu'il faut, {needed}; {room}; le bac aurait {basin}"
    ),
    "reservoir.no_power": "le chauffage n'a pas de courant",
    "reservoir.no_power.ask": "Rétablir le courant du chauffage",
    # by eye
    "reservoir.by_eye": "{here}, lu par {by}; il faut {needed}",
    "reservoir.by_eye.ask": "Attendre et relire",
    "reservoir.too_hot_by_eye": "{what}, lu par {by}",
    "reservoir.too_hot_by_eye.ask": "Laisser refroidir et relire",
    # what is needed isn't known
    "reservoir.needed_unknown": "la température nécessaire est inconnue : {why}",
    "reservoir.no_room": "rien ne dit quelle température fait la pièce",
    "reservoir.no_room.ask": "Ajouter coldest_room à [reservoir] dans le fichier du poste, ou installer un point de mesure pour la pièce",
    # further probes
    "second_probe": "{point} : {here}{nominal}",
    "second_probe.unknown": "{point} est inconnu : {why}",
    "second_probe.doubtful": "{here}, mais {why}",
    "second_probe.above_maximum": "{here}, au-dessus du maximum, ou depuis trop peu de temps au-dessous",
    "second_probe.above_label": "{here} : le bac aurait plus que ce que l'étiquette permet, ou l'avait encore récemment",
    "second_probe.too_cold": "{here} : pas assez chaud à cet endroit, ou depuis trop peu de temps",
    "second_probe.apart": "{here} : deux sondes d'un même liquide qui diffèrent de plus de {by:g K} depuis une demi-heure",
    "second_probe.apart.ask": "Remuer; comparer {first} et {point} à une référence",
    # calibrations that a condition rests on
    "recalibrated.found": "{found:and}",
    "recalibrated.found.ask": "Comparer à nouveau à la référence : {points:and}",
    "recalibrated.check_lower": "un contrôle de {at} a trouvé {point} plus bas que sa lecture de {by}, et n'a rien ajusté",
    "recalibrated.check_higher": "un contrôle de {at} a trouvé {point} plus haut que sa lecture de {by}, et n'a rien ajusté",
    "recalibrated.comparison_lower": "une comparaison de {at} a trouvé {point} plus bas de {by}, et en attend une seconde",
    "recalibrated.comparison_higher": "une comparaison de {at} a trouvé {point} plus haut de {by}, et en attend une seconde",
    "recalibrated.only_since": "remplie seulement depuis l'étalonnage de {at} : la lecture était trop basse avant",
    "met_nominally.past_due": "remplie nominalement : étalonnage en retard : {points:and}",
    # alarms
    "reservoir.cold": "{here}, au-dessous de {limit}",
    "reservoir.away_too_long": "le liquide est absent depuis plus longtemps que ne dure un cycle",
    "heating.not_rising": "{here} et sans hausse",
    "heating.levelled_off": "stabilisé près de {near}, la consigne est {set_point}",
    # late for the first case
    "late": "{here}, {why}",
    "late.just_after": "attendu juste après le premier cas de {case}",
    "late.expected": "attendu à {expected}, après le premier cas de {case}",
    "late.never": "{why} : pas à temps pour le premier cas de {case}",
    "late.not_warm_yet": "pas encore chaud pour le premier cas de {case}",
    "late.too_cold": "chauffe, mais {why} trop froid pour être chaud au premier cas de {case}",
    "late.not_heating": "ne chauffe pas, pas chaud pour le premier cas de {case}",
    "late.must_start": (
        "ne chauffe pas : le chauffage doit commencer au plus tard à {by} ({why}) pour être chaud au premier cas de {case}"
    ),
    "heating.by_own_heat_ups": "d'après les chauffes passées de ce poste",
    "heating.by_limit": "d'après la limite de chauffe de {limit:g h}",
    # estimates
    "reservoir.source": "perte au transfert {loss}",
    "reservoir.source_assumed_room": "avec la pièce la plus froide déclarée; perte au transfert {loss}",
    "reservoir.not_known": "la température du réservoir est inconnue",
    "reservoir.is_warm": "il est chaud",
    "reservoir.heated_away": "le liquide chauffé est absent",
    "heating.no_first_case": "pas de premier cas pour lequel être à temps",
    "heating.under_way": "il chauffe",
    "heating.overdue": "en retard de {by} : le chauffage doit commencer maintenant; {why}",
    # until when it is warm
    "reservoir.no_reading": "pas de lecture du réservoir",
    "heating.not_yet.falling": "pas encore connu : en baisse",
    "heating.not_yet.topped_up": "pas encore connu : complété",
    "heating.off": "ne chauffe pas",
    "heating.off.stopped_rising": "ne chauffe pas : la hausse s'est arrêtée près de {near}",
    "heating.just_begun": "pas encore connu : le chauffage vient de commencer",
    "heating.too_little_seen": "pas encore connu : trop peu a été vu de cette chauffe",
    "heating.slower": "pas encore connu : la hausse est plus lente que ce qui en a été vu ne le laissait attendre",
    "heating.broken_off": (
        "pas encore connu : il chauffait, puis a été refroidi, ou le chauffage s'est éteint; le couvercle était-il ouvert, ou du liquide "
        "froid a-t-il été versé ?"
    ),
    "heating.perhaps_never.set_point": (
        "inconnu : la consigne de {set_point} est au-dessous de ce qu'il faut, {needed}; il n'y arrivera peut-être pas"
    ),
    "heating.perhaps_never.slows_down": (
        "pas encore connu : il n'y arrivera peut-être pas; il ralentit comme pour finir près de {near}"
    ),
    "heating.perhaps_never.ends": "pas encore connu : il n'y arrivera peut-être pas; à ce rythme il finit près de {near}",
    "heating.never": "il n'y arrivera pas : {why}",
    "heating.never.set_point": "la consigne de {set_point} est au-dessous de ce qu'il faut, {needed}",
    "heating.never.levels_off": "il se stabilise près de {near}",
    "heating.never.ends": "à ce rythme il finit près de {near}",
    "heating.weak": "le chauffage donne {share:.0f} % de ce qu'il donnait",
    "heating.loses_more": "il perd plus de chaleur qu'avant : le couvercle est-il ouvert ?",
    "heating.too_weak": "le chauffage est trop faible, ou le couvercle est ouvert",
    # a new estimate
    "heating.cooled": (
        "nouvelle estimation : quelque chose a refroidi le liquide en chemin; le couvercle était-il ouvert, ou du liquide froid a-t-il "
        "été versé ?"
    ),
    "heating.warmed": (
        "nouvelle estimation : la hausse est plus rapide; le couvercle a-t-il été fermé, ou du liquide chaud versé ?"
    ),
    "heating.paused": "nouvelle estimation : le chauffage s'était arrêté, ou le liquide a été refroidi",
    # until when it stays warm
    "reservoir.away": "le liquide est absent",
    "cooling.too_little_seen": "pas encore connu : trop peu en a été vu",
    "cooling.below_already": "il est déjà au-dessous",
    "cooling.being_heated": "il est chauffé",
    "cooling.not_cooling": "il ne refroidit pas",
    "cooling.thermostat_holds_it": "le thermostat le maintient",
    "cooling.room_keeps_it_above": "la pièce le maintient au-dessus",
    # a thermostat whose trough is too low
    "thermostat.set_point_would_do": (
        "le thermostat le laisse descendre à {falls_to}; une consigne de {set_point} suffirait, ou une pièce plus chaude"
    ),
    "thermostat.room_would_do": (
        "le thermostat le laisse descendre à {falls_to}, et aucune consigne dans la plage de l'étiquette ne suffirait : chauffer la pièce "
        "à {room}"
    ),
    "thermostat.nothing_would_do": (
        "le thermostat le laisse descendre à {falls_to}, et aucune consigne dans la plage de l'étiquette ne suffirait"
    ),
    # the transfer loss
    "transfer_loss.by_the_file": "comme mesurée selon le fichier du poste",
    "transfer_loss.by_the_rule": "selon la règle",
    "transfer_loss.cycle_measured": "premiers cycles mesurés : {cycles}",
    "transfer_loss.cycles_measured": "premiers cycles mesurés : {cycles}",
    "transfer_loss.by_cycle": "mesurée (premiers cycles : {cycles})",
    "transfer_loss.by_cycles": "mesurée (premiers cycles : {cycles})",
    # transfers that a basin's probe sees
    "transfer.probe_doubted": "la sonde du bac est mise en doute",
    "transfer.too_short": "le liquide est resté trop peu de temps, ou trop peu en a été lu",
    "transfer.reservoir_unread": "le réservoir n'a pas été lu avant",
    "transfer.cooled_too_fast": "le bac a refroidi trop vite pour contenir le liquide",
    "transfer.room_unknown": "la température de la pièce est inconnue",
    "transfer.hardly_warmer": "le liquide était à peine plus chaud que la pièce",
    "transfer.followed": "le bac montrait la température du réservoir lui-même",
    "transfer.hardly_seen": "la sonde du bac n'a presque rien vu du liquide",
    "transfer.scattered": "les lectures sont trop dispersées",
    "transfer.forgotten": "{why} : la perte au transfert mesurée est oubliée (cycles : {cycles}){filed}",
    "transfer.forgotten.filed": "; ce qu'il faut au réservoir est de nouveau établi {loss}",
    "transfer.equipment_changed": "l'appareil a été changé",
    "transfer.calibrated": "{point} a été étalonné",
    # the basin's probe
    "basin.short": "le bac a atteint {here}, l'étiquette demande {least}",
    "basin.short.advice": "Ne pas compter ce contact; chauffer davantage le réservoir ou la pièce avant le suivant",
    "basin.follows": "la sonde du bac montre la température du réservoir",
    "basin.follows.advice": "Vérifier que la sonde du bac est bien dans le bac, et les lignes des points dans le fichier du poste",
    "basin.swapped": "la sonde du bac montre plus que celle du réservoir : points probablement échangés",
    "basin.swapped.advice": (
        "Vérifier quelle sonde est dans le réservoir et laquelle dans le bac, et les lignes des points dans le fichier du poste"
    ),
    "basin.is_basin_again": "la sonde du bac montre de nouveau un bac",
}
