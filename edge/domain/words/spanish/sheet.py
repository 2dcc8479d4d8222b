"""Spanish: the sheet for the room's wall."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

SHEET: Final[Mapping[str, str]] = {
    "sheet.only_watches": (
        "Warmwell vigila lo que este equipo necesita a su alrededor: agua, filtros, calor, tomas "
        "de corriente. Solo vigila."
    ),
    "sheet.surroundings": "{ready} se refiere solo al entorno: del resto deciden las instrucciones del fabricante.",
    "sheet.page": "La página del puesto: apuntar al cuadrado con una cámara, o escribir esta dirección.",
    "sheet.own_computer": "Esta dirección solo responde en el propio ordenador del puesto.",
    "sheet.fingerprint": "El navegador avisa una vez. Seguir solo si muestra esta huella (SHA-256): {fingerprint}",
    "sheet.head.not_ready": "Cuando la página dice {not_ready} o {cant_tell}",
    "sheet.do.look": "No arrancar. Leer en la página qué falta, por qué, y cuándo se espera que esté en orden.",
    "sheet.do.first": "Hacer lo que la página nombra primero, con la protección que pide ese trabajo.",
    "sheet.do.record": "Registrar lo hecho con el nombre propio: el puesto se guía por lo que está registrado.",
    "sheet.do.acknowledge": "Reconocer una alarma después de haber mirado. La causa sigue hasta que se corrija.",
    "sheet.do.call": "Llamar si ha pasado la hora que figura allí, o en caso de duda.",
    "sheet.head.lost": "Cuando la página no se abre, o dice que no se oye el puesto",
    "sheet.lost": (
        "No arrancar según lo que allí figura. Guiarse por la vista y las instrucciones del "
        "fabricante: manómetro, termómetro, filtros, toma de corriente. Mirar si el pequeño "
        "ordenador junto al equipo tiene corriente; luego llamar."
    ),
    "sheet.head.call": "A quién llamar",
    "sheet.head.cautions": "Precauciones",
    "sheet.caution.disinfectant": (
        "El desinfectante daña ojos, piel y vías respiratorias, caliente más que frío: "
        "protección, ventilación y formación según la etiqueta y el centro."
    ),
    "sheet.caution.mains": (
        "Red eléctrica: mantener las manos secas. Una toma que se ha disparado se rearma una vez "
        "como mucho; después el personal autorizado busca la causa."
    ),
    "sheet.caution.pressure": (
        "Carcasas de filtro y mangueras siguen a presión tras cerrar la llave de paso. Aliviarla antes de abrir nada."
    ),
    "sheet.caution.heat": "El depósito y su calentador queman, y el vapor es más fuerte en caliente.",
    "sheet.caution.outranked": (
        "Las instrucciones del fabricante, la etiqueta y las normas locales están por encima de esta hoja."
    ),
    "sheet.unreviewed": (
        "Nadie que hable el idioma y conozca el oficio ha revisado aún esta traducción: vale la hoja en inglés."
    ),
}
