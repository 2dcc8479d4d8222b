"""German: the sheet for the room's wall."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

SHEET: Final[Mapping[str, str]] = {
    "sheet.only_watches": (
        "Warmwell beobachtet, was dieses Gerät um sich braucht: Wasser, Filter, Wärme, Steckdosen. Es beobachtet nur."
    ),
    "sheet.surroundings": (
        "{ready} gilt nur für die Umgebung: über alles Weitere entscheidet die Anleitung des Herstellers."
    ),
    "sheet.page": "Die Seite der Station: Kamera auf das Quadrat richten oder diese Adresse eingeben.",
    "sheet.own_computer": "Diese Adresse antwortet nur auf dem eigenen Rechner der Station.",
    "sheet.fingerprint": (
        "Der Browser warnt einmal. Nur weitergehen, wo er diesen Fingerabdruck zeigt (SHA-256): {fingerprint}"
    ),
    "sheet.head.not_ready": "Wenn die Seite {not_ready} oder {cant_tell} sagt",
    "sheet.do.look": (
        "Nicht starten. Auf der Seite lesen, was fehlt, warum, und wann es voraussichtlich in Ordnung ist."
    ),
    "sheet.do.first": "Zuerst tun, was die Seite als Erstes nennt, mit dem Schutz, den diese Arbeit verlangt.",
    "sheet.do.record": "Unter eigenem Namen erfassen, was getan wurde: die Station geht nach dem, was erfasst ist.",
    "sheet.do.acknowledge": (
        "Einen Alarm quittieren, sobald nachgesehen wurde. Die Ursache bleibt, bis sie behoben ist."
    ),
    "sheet.do.call": "Anrufen, wenn die Zeit vorbei ist, die dort steht, oder im Zweifel.",
    "sheet.head.lost": "Wenn die Seite sich nicht öffnet oder sagt, dass die Station nicht zu hören ist",
    "sheet.lost": (
        "Nicht nach dem starten, was dort steht. Nach Augenschein und der Anleitung des "
        "Herstellers vorgehen: Manometer, Thermometer, Filter, Steckdose. Nachsehen, ob der "
        "kleine Rechner neben dem Gerät Strom hat; dann anrufen."
    ),
    "sheet.head.call": "Wen anrufen",
    "sheet.head.cautions": "Vorsicht",
    "sheet.caution.disinfectant": (
        "Das Desinfektionsmittel schadet Augen, Haut und Atemwegen, warm mehr als kalt: Schutz, "
        "Lüftung und Schulung, wie Etikett und Haus es verlangen."
    ),
    "sheet.caution.mains": (
        "Netzspannung: Hände trocken halten. Eine Steckdose, die ausgelöst hat, höchstens einmal "
        "zurücksetzen; dann sucht zugelassenes Fachpersonal die Ursache."
    ),
    "sheet.caution.pressure": (
        "Filtergehäuse und Schläuche stehen noch unter Druck, wenn das Absperrventil zu ist. "
        "Ablassen, bevor etwas geöffnet wird."
    ),
    "sheet.caution.heat": "Reservoir und Heizung sind heiß genug, um zu verletzen; warm ist der Dampf stärker.",
    "sheet.caution.outranked": "Anleitung des Herstellers, Etikett und örtliche Vorschriften gehen diesem Blatt vor.",
    "sheet.unreviewed": (
        "Diese Übersetzung ist noch nicht von jemandem geprüft, der die Sprache spricht und das "
        "Fach kennt: es gilt das englische Blatt."
    ),
}
