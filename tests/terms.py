"""The terms of the trade in each language, for somebody who speaks it to review, and where each is used.

From memory, by the official versions of IEC 62682 (alarms) and ISO 15883 (reprocessing) where these have the term; else our own. `find`
is what of a term its forms have in common, as a regular expression; it finds the sentences that use it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import NamedTuple

from edge.api.words import WORDS
from edge.domain.words.english import ENGLISH
from edge.domain.words.languages import LANGUAGES
from tests import page_words

#: what is typed, or filled in, is no word of a language: keys, records, sections of the station file, commands, values
TYPED = re.compile(
    r"\{typed:(?:[^{}]|\{[^{}]*\})*\}|\{forms:|`[^`]*`|\[+[\w.]*\]+( also)?|\w+=\S+|\b\w+_\w+\b|'3 \{unit\}'|warmwell [^;]*--test|\{[^}]*\}"
)
CODES = tuple(code for code in LANGUAGES if code != "en")


class Term(NamedTuple):
    """A term in English and in each language, and what its forms have in common, by language."""

    said: Mapping[str, str]
    find: Mapping[str, str]


def _term(en: str, de: str, fr: str, es: str, *find: str) -> Term:
    """`find`: for English, German, French and Spanish, where it isn't the term itself."""
    said = {"en": en, "de": de, "fr": fr, "es": es}
    given = find or (en, de, fr, es)
    return Term(said, dict(zip(said, given, strict=True)))


TERMS = (
    # reprocessing (ISO 15883)
    _term("machine (washer-disinfector)", "Gerät (Reinigungs-Desinfektionsgerät)", "appareil (laveur-désinfecteur)",
          "equipo (lavadora desinfectadora)", "machine", "Gerät", "appareil", "equipo"),
    _term("disinfectant", "Desinfektionsmittel", "désinfectant", "desinfectante"),
    _term("reservoir", "Reservoir", "réservoir", "depósito"),
    _term("basin", "Becken", "bac", "cuba"),
    _term("label", "Etikett", "étiquette", "etiqueta"),
    _term("channel port", "Kanalanschluss", "raccord de canal", "conexión de canal", "channel port", "Kanalanschl",
          "raccords? de canal",
          "conexi(ón|ones) de canal"),
    _term("daily test", "Tagestest", "test quotidien", "prueba diaria"),
    _term("contact", "Einwirkung", "contact", "contacto", r"\bcontact\b(?! of the)", "Einwirkung", "contact", "contacto"),
    _term("water path", "Wasserweg", "circuit d'eau", "circuito de agua", "water.path", "Wasserweg", "circuit d'eau",
          "circuito de agua"),
    _term("clean side", "reine Seite", "côté propre", "lado limpio", "clean side", "reine[nr]? Seite", "côté propre", "lado limpio"),
    _term("reuse life", "Standzeit", "durée de réutilisation", "vida de reutilización"),
    _term("cycle", "Zyklus", "cycle", "ciclo", r"\bcycle", "Zykl", "cycle", "ciclo"),
    _term("to rinse", "spülen", "rincer", "enjuagar", "rins", "spül", "rin[cç]", "enju"),
    _term("to drain", "entleeren", "vidanger", "vaciar", r"\bdrain(ed)?\b", "entleer", "vidang", "vacia"),
    _term("the maker's instructions", "Anleitung des Herstellers", "notice du fabricant", "instrucciones del fabricante",
          "maker's instructions", "Anleitung des Herstellers", "notice d[eu] (son )?fabricant", "instrucciones de(l| su) fabricante"),
    # heat
    _term("probe", "Fühler", "sonde", "sonda", r"\bprobe", "Fühler", "sonde", "sonda"),
    _term("set point", "Sollwert", "consigne", "consigna"),
    _term("transfer loss", "Transferverlust", "perte au transfert", "pérdida en el traslado"),
    _term("lid", "Deckel", "couvercle", "tapa", r"\blid\b", "Deckel", "couvercle", "tapa"),
    _term("heater", "Heizung", "chauffage", "calentador", r"\bheater", "heiz", "chauff", "calenta"),
    # water
    _term("draw", "Entnahme", "puisage", "toma de agua", r"\b(draw|drew)", "entn(ahm|ehm|omm)", "pui(s|sag)|tir(er|ent) de l'eau",
          r"tom(a|as|ar|aba|an)\b|sacar agua|tomando"),
    _term("supply", "Zulauf", "arrivée d'eau", "entrada de agua", r"\bsupply\b(?!')(?! \[)", "Zulauf|ersorgung",
          "arrivée d'eau|alimentation",
          "entrada de agua|alimentación"),
    _term("stop valve", "Absperrventil", "vanne d'arrêt", "llave de paso"),
    _term("pressure drop", "Druckabfall", "chute de pression", "caída de presión", r"\bdrops?\b", "Druckabf", "chute",
          "caída|descenso"),
    _term("flow meter", "Durchflussmesser", "débitmètre", "caudalímetro"),
    _term("leak", "Leck", "fuite", "fuga", r"\bleak", "Leck|tritt", "fuit", "fuga"),
    # electricity
    _term("outlet", "Steckdose", "prise", "toma de corriente", r"\boutlet\b", "Steckdose", "prise", "toma"),
    _term("tripped", "ausgelöst", "déclenché", "disparado", r"\btrip", "aus(ge)?lös|löst|Auslös", "déclench", "disp"),
    _term("licensed staff", "zugelassenes Fachpersonal", "personnel habilité", "personal autorizado", "licensed staff",
          "zugelassene[ms] Fachpersonal", "personnel habilité", "personal autorizado"),
    # alarms (IEC 62682)
    _term("to acknowledge", "quittieren", "acquitter", "reconocer", "acknowledg", "quittier", "acquitt", "reconoc"),
    _term("shelved", "zurückgestellt", "mise de côté", "apartada", "shelved", "zurückgestellt", "mise de côté", "apartada"),
    _term("out of service", "außer Betrieb", "hors service", "fuera de servicio", "out of service", "außer ?Betrieb", "hors service",
          "fuera de servicio"),
    _term("latched", "selbsthaltend", "mémorisée", "retenida"),
    # evidence
    _term("point", "Messpunkt", "point (de mesure)", "punto (de medida)", r"(?<!set )\bpoints?\b(?! is missing)", "messpunkt",
          r"\bpoints?\b", r"\bpuntos?\b"),
    _term("reading (of a sensor)", "Messwert", "lecture", "lectura", r"\breadings?\b", "Messwert|ablesung|Anzeige|lesen",
          "lect|lire", "lectura|lee"),
    _term("read by eye", "abgelesen", "lu à l'œil", "leído a la vista", r"\bread by", "abgelesen|Ablesung", r"\blue?s?\b|lecture",
          "leíd|lee|lectura"),
    _term("calibration", "Kalibrierung", "étalonnage", "calibración", "calibrat", "kalibr", "étalonn", "calibr"),
    _term("reference", "Referenz", "référence", "referencia", r"\breferences?\b", "Referenz", "référence|reference",
          "referencia|reference"),
    _term("to record", "erfassen", "enregistrer", "registrar", r"\brecord(ed|s|ing)?\b", "erfass|aufgezeichnet|Aufzeichnung",
          "enregistr|saisie", "registr|grabación"),
    _term("hold", "Sperre", "blocage", "bloqueo", r"\bhold(s|ing)?\b(?! back)|\bheld by", "sperr|zurückhalten", "bloc?[aq]|retenir",
          "bloque|retener"),
    _term("release", "Freigabe", "levée", "levantamiento", r"\brelease\b", "Freigabe", "levée", "levanta"),
    _term("journal", "Journal", "journal", "diario", r"\bjournal\b", "journal", "journal", "diario"),
    _term("station file", "Stationsdatei", "fichier du poste", "archivo del puesto"),
    _term("overdue, past its due date", "überfällig", "en retard", "vencido", "overdue|past its", "überfällig", "en retard|périmé",
          "venc|retraso"),
    _term("unknown, can't be told", "nicht feststellbar", "indéterminé", "indeterminado", "can't (be told|tell)",
          "feststellbar|unterscheiden|beurteilen|kann nicht|Nicht feststellbar", "impossible|ne peu|indéterminé",
          "no se pued|indeterminad"),
)  # fmt: skip


def sentences(code: str) -> dict[str, str]:
    """All that is said in a language, by where: ids of messages, titles as `table: key`, and the page's own words as `page: id`."""
    titles = WORDS if code == "en" else LANGUAGES[code].titles
    catalogue = ENGLISH if code == "en" else LANGUAGES[code].catalogue
    named = {
        f"{table}: {key}": title for table, rows in titles.items() for key, title in rows.items() if table != "contacts"
    }
    own = {f"page: {ident}": template for ident, template in page_words.words(code).items()}
    return {**catalogue, **{where: title for where, title in named.items() if isinstance(title, str)}, **own}


def used(term: Term, code: str = "en") -> list[str]:
    """Where a language uses a term."""
    find = re.compile(term.find[code], re.IGNORECASE)
    return [where for where, words in sentences(code).items() if find.search(TYPED.sub(" ", words))]
