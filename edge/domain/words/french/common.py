"""French of what many parts say, of alarms and of points."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

COMMON: Final[Mapping[str, str]] = {
    "as_told": "{words}",
    "both": "{first}; {then}",
    "but": "{first}; mais {then}",
    "then": "{first}{then}",
    # the verdict
    "condition.why": "{condition:condition} : {text}",
    "condition.and_when": "{text} ({when})",
    "verdict.surroundings_only": "Environnement seulement : la notice du fabricant décide du reste",
    "dropped.cant_be_told": "impossible de dire si c'était dû : cette version ne peut pas utiliser les réglages d'avant",
    # beside the verdict, where it can't be told or kept
    "note": "{said} {then}",
    "picture.starting": "Démarrage : rien n'a encore été lu",
    "picture.judge_silent": "Redémarrer Warmwell, ou voir le journal du système : le jugement ne répond pas",
    "picture.not_judged": "sans jugement depuis {since:.0f s}",
    "picture.failed": "Indéterminé : l'état du poste n'a pas pu être établi; voir le journal du système",
    "store.refuses": "Le journal ne peut pas être écrit ({why}) : {waiting}, les saisies sont refusées.",
    "store.away": "Rien ne peut être conservé : {why}",
    "store.hangs": "Le disque ne répond pas depuis {lasts:.0f s} : {waiting}, les saisies aussi.",
    "store.is_slow": "{waiting} après le disque depuis {lasts:.0f s}.",
    "store.one_waits": "1 écriture attend",
    "store.some_wait": "{entries} écritures attendent",
    "store.see_to_it": "Vérifier le disque du journal",
    # limits
    "limit.above": "au-dessus de {limit}",
    "limit.below": "au-dessous de {limit}",
    "limit.too_near": "trop près de {limit} pour son incertitude",
    # what stands behind a value
    "nominal.uncalibrated": " (non étalonné)",
    "nominal.expanded": " ± {u:.2g own}",
    "nominal.in_steps": "{told}, par pas de {step:.2g K}",
    "met_nominally": "{text}; remplie nominalement : non étalonné",
    # points that aren't heard
    "point.advice": "{point} : {advice}",
    "point.broken": "le capteur {point} ne répond pas : {why}",
    "point.polled": " (interrogé toutes les {every:g s})",
    "not_known": "inconnu : {why}",
    "not_known_of": "inconnu : {point} : {why}",
    # advice on a point
    "advice.coarse": "lecture par pas de {step:.3g K}{own}",
    "advice.coarse.own": " au lieu de {own:.2g K}",
    "advice.coarse.advice": (
        "Couper l'alimentation de la sonde quelques secondes, ou régler à nouveau sa résolution (12 bits); remplacer celle qui reste "
        "ainsi, ou écrire son pas comme `resolution` dans le fichier du poste. D'ici là, les conditions gardent d'autant plus de distance "
        "à leurs limites"
    ),
    "advice.wild": "mauvaises lectures isolées en une heure : {times}; la dernière : {why}",
    # alarms
    "alarm.read_at": "{cause} (lu le {at:date} {at})",
    "alarm.right_again": "revenue à la normale; avant : {was}",
    "alarm.gone": "n'existe plus dans le fichier du poste",
    "alarm.absent_out_of_service": "absente; mise hors service{by}",
    "alarm.absent_in_service": "absente; remise en service{by}",
    "alarm.absent_shelved": "absente; mise de côté{by}",
    "alarm.absent_unshelved": "absente; plus mise de côté{by}",
    "alarm.absent_by": " par {by}",
    "alarm.clock_untrusted.cause": "l'horloge n'est pas fiable",
}
