"""English: the sheet for the room's wall."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

SHEET: Final[Mapping[str, str]] = {
    "sheet.only_watches": (
        "Warmwell watches what this machine needs around it: water, filters, warmth, outlets. It only watches."
    ),
    "sheet.surroundings": "{ready} is about the surroundings alone: the maker's instructions decide the rest.",
    "sheet.page": "The station's page: point a camera at the square, or type this address.",
    "sheet.own_computer": "This address answers on the station's own computer alone.",
    "sheet.fingerprint": "The browser warns once. Go on only where it shows this fingerprint (SHA-256): {fingerprint}",
    "sheet.head.not_ready": "When the page says {not_ready} or {cant_tell}",
    "sheet.do.look": "Don't start. Read on the page what is missing, why, and when it is expected to be right.",
    "sheet.do.first": "Do what the page names first, with the protection that this work asks for.",
    "sheet.do.record": "Record what you did, under your own name: the station goes by what is recorded.",
    "sheet.do.acknowledge": "Acknowledge an alarm once you have looked. Its cause stays until it is mended.",
    "sheet.do.call": "Call where the time that stands there has passed, or where you are in doubt.",
    "sheet.head.lost": "When the page doesn't open, or says that the station is not heard",
    "sheet.lost": (
        "Don't start by what stands there. Go by your own eyes and the maker's instructions: "
        "gauge, thermometer, filters, outlet. See that the small computer beside the machine has "
        "power; then call."
    ),
    "sheet.head.call": "Whom to call",
    "sheet.head.cautions": "Cautions",
    "sheet.caution.disinfectant": (
        "The disinfectant harms eyes, skin and airways, warm more than cold: protection, "
        "ventilation and training as its label and the site ask for."
    ),
    "sheet.caution.mains": (
        "Mains: keep hands dry. A tripped outlet is reset once at the most; then licensed staff look for the cause."
    ),
    "sheet.caution.pressure": (
        "Filter housings and hoses hold pressure after the stop valve is shut. Relieve it before anything is opened."
    ),
    "sheet.caution.heat": "Reservoir and heater are hot enough to hurt, and the vapour is stronger when warm.",
    "sheet.caution.outranked": "The maker's instructions, the label and local codes outrank this sheet.",
    "sheet.unreviewed": (
        "Nobody who speaks this language and knows the trade has reviewed this translation yet: "
        "the English sheet decides."
    ),
}
