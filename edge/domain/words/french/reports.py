"""French: reports."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

REPORTS: Final[Mapping[str, str]] = {
    "report.day": "Relevé du jour",
    "report.span": (
        "{day}, du {begins:date} {begins} au {ends:date} {ends} : {hours:.3g} heures à l'horloge du poste ({zone})"
    ),
    "report.not_over": "La journée n'était pas finie quand ceci a été établi : elle est relatée jusqu'à {at}.",
    "report.simulated": "Ceci est un poste simulé : rien de tout cela n'est arrivé.",
    "report.head.verdict": "Le poste pouvait-il démarrer ?",
    "report.head.alarms": "Alarmes",
    "report.head.records": "Ce qui a été enregistré",
    "report.head.readings": "Mesures extrêmes",
    "report.head.reservoir": "Réservoir",
    "report.head.draws": "Soutirages d'eau",
    "report.head.heat_ups": "Montées en température",
    "report.head.watch": "Quand personne ne surveillait",
    "report.head.incidents": "Ce qui a gêné la surveillance",
    "report.head.evidence": "Preuve",
    "report.head.signatures": "Vu par",
    "report.none": "aucun",
    "report.word_lasted": "{word} : {span}",
    "report.unwatched": "non surveillé : {span}",
    "report.lasts": "durait encore à la fin",
    "report.at_latest": "{at} au plus tard",
    "report.on_another_day": "{at:date} {at}",
    "report.at": "{at}",
    "report.event": "{at} : {state:state}",
    "report.event_by": "{at} : {state:state} ({by})",
    "report.event_again": "{at} : annoncée de nouveau",
    "report.does_not_count": "ne compte pas : {why}",
    "report.water": "{volume:.1f L} en {number:d} soutirages",
    "report.volume": "{volume:.2f L}",
    "report.share": "{share:.1%}",
    "report.gap_stopped": "arrêté : {why}",
    "report.gap_broken": "l'exécution s'est terminée sans un mot",
    "report.undated": (
        "{n:d} écritures qui peuvent être de ce jour n'ont pas de date fiable; `warmwell export journal` les liste."
    ),
    "report.untrusted": (
        "{n:d} écritures de ce jour ont été faites alors que l'horloge du poste n'était pas "
        "fiable; leurs heures sont celles connues à présent."
    ),
    "report.entries": "{n:d} écritures du journal sont de ce jour, de {first:d} à {last:d}.",
    "report.no_entries": "Le journal n'a aucune écriture de ce jour.",
    "report.rests_on": "Ce rapport repose sur le journal jusqu'à l'écriture {seq:d}, empreinte {digest}.",
    "report.chain_holds": "La chaîne du journal était intacte à l'établissement.",
    "report.chain_broken": "La chaîne du journal n'était PAS intacte à l'établissement : {why}. Rien ici n'est prouvé.",
    "report.signed": (
        "Le poste a signé le journal jusqu'à l'écriture {seq:d} le {at:date} à {at} ; empreinte de sa clé : {key}."
    ),
    "report.not_signed": "Le poste n'a pas encore signé le journal.",
    "report.readings_apart": "Les mesures ne font pas partie de la chaîne; ce que le poste en a conclu, si.",
    "report.to_prove": "Pour le vérifier avec le journal : warmwell verify REPORT --journal FOLDER",
    "report.made": "Établi le {at:date} à {at} par Warmwell {version}.",
    "report.only_watches": (
        "Warmwell ne fait que surveiller. Les actes suivent les notices des fabricants, "
        "l'étiquette et les règles du site."
    ),
    "report.kind.clock_step": "horloge",
    "report.kind.bus": "bus",
    "report.kind.repair": "stockage",
    "report.kind.settings": "réglages en vigueur",
    "report.kind.settings_refused": "réglages refusés",
    "report.kind.contradiction": "capteurs mis en doute",
    "report.kind.contradiction_over": "plus mis en doute",
    "report.kind.power": "alimentation",
    "report.kind.untold": "non transmis",
    "report.kind.duty_dropped": "obligation",
    "report.col.from": "de",
    "report.col.to": "à",
    "report.col.at": "à",
    "report.col.word": "mot",
    "report.col.why": "pourquoi",
    "report.col.alarm": "alarme",
    "report.col.priority": "priorité",
    "report.col.cause": "cause",
    "report.col.answers": "suite donnée",
    "report.col.record": "enregistrement",
    "report.col.by": "par",
    "report.col.told": "indications",
    "report.col.point": "capteur",
    "report.col.low": "minimum",
    "report.col.high": "maximum",
    "report.col.covered": "de la journée",
    "report.col.lasted": "durée",
    "report.col.volume": "volume",
    "report.col.flow": "débit",
    "report.col.supply": "alimentation",
    "report.col.drops": "chutes aux filtres",
    "report.col.what": "quoi",
    "report.col.entry": "écriture",
    "report.col.name": "nom",
    "report.col.date": "date",
    "report.col.signature": "signature",
    "report.period": "Relevé de la période",
    "report.period_span": (
        "{period}, du {begins:date} {begins} au {ends:date} {ends} : {days:d} jours à l'horloge du poste ({zone})"
    ),
    "report.period_not_over": (
        "La période n'était pas finie quand ceci a été établi : elle est relatée jusqu'au {at:date} {at}."
    ),
    "report.period_entries": "{n:d} écritures du journal sont de cette période, de {first:d} à {last:d}.",
    "report.period_no_entries": "Le journal n'a aucune écriture de cette période.",
    "report.period_undated": (
        "{n:d} écritures qui peuvent être de cette période n'ont pas de date fiable; `warmwell "
        "export journal` les liste."
    ),
    "report.head.days": "Jour par jour",
    "report.head.causes": "Ce qui empêchait le démarrage",
    "report.head.performance": "Comportement des alarmes",
    "report.head.duties": "Tâches échues",
    "report.head.filters": "Pertes de charge aux filtres",
    "report.head.work": "Changements et entretien",
    "report.ready_at_first": "Prêt au premier cas {n:d} jours sur les {of:d} qui en avaient un.",
    "report.closed": "fermé",
    "report.still_to_come": "encore à venir",
    "report.not_known": "non surveillé",
    "report.causes_overlap": (
        "Plusieurs peuvent exister à la fois : ces durées se recoupent. On compte d'un changement d'état du "
        "poste au suivant : ce qui a été rempli entre-temps n'est dans aucune écriture. Ce qui manquait sans "
        "surveillance n'est pas connu."
    ),
    "report.figures_from": (
        "Chiffres et cibles sont ceux des normes d'alarmes (ISA-18.2, IEC 62682), de mémoire et de résumés publics."
    ),
    "report.counted": "{number:d}, dont {counted:d} valables",
    "report.col.day": "jour",
    "report.col.first_case": "au premier cas",
    "report.col.unwatched": "non surveillé",
    "report.col.condition": "condition",
    "report.col.figure": "chiffre",
    "report.col.value": "valeur",
    "report.col.number": "nombre",
    "report.col.duty": "tâche",
    "report.col.filter": "filtre",
    "report.col.first": "au début",
    "report.col.last": "à la fin",
    "report.figure.announced": "annoncées",
    "report.figure.per_day": "par jour, en moyenne",
    "report.figure.most_in_period": "en dix minutes, au plus",
    "report.figure.flooded": "temps en avalanche, pour cent",
    "report.figure.chattering": "alarmes qui papillonnent",
    "report.figure.fleeting": "alarmes fugitives",
    "report.figure.stale": "plus d'un jour",
    "report.figure.most_standing": "à la fois, au plus",
    "report.figure.unanswered": "jamais acquittées",
    "report.figure.half": "jusqu'à l'acquittement, la moitié en",
    "report.figure.most": "jusqu'à l'acquittement, neuf sur dix en",
    "report.head.due": "Ce qui est dû ensuite",
    "report.due_not_known": "Ce qui est dû ne peut être dit : une version antérieure a écrit ce que celle-ci ne peut suivre.",
    "report.col.done": "fait en dernier",
    "report.col.again": "dû à nouveau",
}
