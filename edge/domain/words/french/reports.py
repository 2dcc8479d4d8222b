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
    "report.signed": "Le poste a signé le journal jusqu'à l'écriture {seq:d} le {at:date} à {at} ; empreinte de sa clé : {key}.",
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
}
