"""The sheet for the room's wall: where the station's page is, what to do when it is not READY, whom to call, the cautions.

It is made of the station file and not of the journal: nothing on it is a reading, and nothing on it goes out of date by itself but its
address and the numbers to call.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple
from xml.etree import ElementTree

from edge.api.words import words_in
from edge.domain.messages import Message, say, text
from edge.domain.words.language import Language
from edge.domain.words.saying import Words
from edge.reports.html import Element, document, el

#: lines to write on, where nobody is named
_LINES: Final = 3
#: one page of A4 and of letter alike: what fits into 210 mm by 279 mm less the margins; black on white, so that any printer does
_STYLE: Final = """
@page { margin: 10mm; }
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { font: 10pt/1.28 system-ui, sans-serif; color: #000; background: #fff; max-width: 188mm; margin: 0 auto; padding: 6mm 0; }
header { display: flex; gap: 6mm; justify-content: space-between; align-items: start; border-bottom: .8mm solid #000; padding-bottom: 2mm; }
h1 { font-size: 21pt; line-height: 1.1; margin: 0 0 1.5mm; overflow-wrap: anywhere; }
h2 { font-size: 12.5pt; line-height: 1.2; margin: 3.5mm 0 1mm; }
p { margin: .8mm 0; } header svg { flex: none; width: 42mm; height: 42mm; }
.address { font: 600 12pt/1.25 ui-monospace, monospace; overflow-wrap: anywhere; }
.fingerprint { font-size: 8.5pt; overflow-wrap: anywhere; }
.quiet { font-size: 9pt; }
ol, ul { margin: 0; padding-left: 7mm; }
.now { border: .9mm solid #000; padding: 1mm 5mm 2.5mm; margin-top: 4mm; }
.now h2 { font-size: 16pt; margin-top: 1.5mm; } .now ol { font-size: 12pt; } .now li { margin: .8mm 0; padding-left: 1mm; }
.call { list-style: none; padding: 0; font-size: 12.5pt; font-weight: 600; }
.call li { border-bottom: .3mm solid #000; min-height: 7.5mm; padding-top: 1mm; overflow-wrap: anywhere; }
@media print { body { padding: 0; max-width: none; } }
"""


class Sheet(NamedTuple):
    """What stands on a sheet.

    Attributes:
        title: what people call the station.
        site: whose it is.
        address: of the station's page.
        symbol: the same as a QR code, an SVG that scales.
        is_own_computers: whether only the station's own computer gets an answer there.
        fingerprint: SHA-256 of a certificate that nobody vouches for; "" where no browser warns.
        call: whom to call, a line each; none: lines to write on.
    """

    title: str
    site: str
    address: str
    symbol: str
    is_own_computers: bool
    fingerprint: str
    call: Sequence[str]


def wall_sheet(sheet: Sheet, language: Language) -> str:
    """The sheet as a page of HTML that needs nothing beside itself."""
    said, displays = Words(language=language).text, words_in(language)["displays"]
    ready, not_ready, cant_tell = (text(displays[word]) for word in ("ready", "not_ready", "cant_tell"))

    def listed(tag: str, *messages: Message) -> Element:
        return el(tag, *(el("li", said(message)) for message in messages))

    code = ElementTree.fromstring(sheet.symbol)
    code.set("role", "img")
    code.set("aria-label", sheet.address)
    head = el(
        "header",
        el(
            "div",
            el("h1", sheet.title),
            el("p", f"{sheet.site} · {said(say('sheet.only_watches'))}"),
            el("p", said(say("sheet.page"))),
            el("p", sheet.address, class_="address"),
            el("p", said(say("sheet.own_computer")), class_="quiet") if sheet.is_own_computers else None,
            el("p", said(say("sheet.fingerprint", fingerprint=text(sheet.fingerprint))), class_="fingerprint")
            if sheet.fingerprint
            else None,
        ),
        code,
    )
    to_do = el(
        "section",
        el("h2", said(say("sheet.head.not_ready", not_ready=not_ready, cant_tell=cant_tell))),
        listed(
            "ol",
            *(say(f"sheet.do.{step}") for step in ("look", "first", "record", "acknowledge", "call")),
        ),
        class_="now",
    )
    cautions = ("disinfectant", "mains", "pressure", "heat", "outranked")
    body = el(
        "body",
        head,
        to_do,
        el("h2", said(say("sheet.head.lost"))),
        el("p", said(say("sheet.lost"))),
        el("h2", said(say("sheet.head.call"))),
        el("ul", *(el("li", line) for line in (sheet.call or [""] * _LINES)), class_="call"),
        el("h2", said(say("sheet.head.cautions"))),
        listed("ul", *(say(f"sheet.caution.{one}") for one in cautions), say("sheet.surroundings", ready=ready)),
        None if language.reviewed else el("p", said(say("sheet.unreviewed")), class_="quiet"),
    )
    title = el("title", f"{sheet.title}: {said(say('sheet.head.not_ready', not_ready=not_ready, cant_tell=cant_tell))}")
    viewport = el("meta", name="viewport", content="width=device-width, initial-scale=1")
    return document(
        el(
            "html",
            el("head", el("meta", charset="utf-8"), viewport, title, el("style", _STYLE)),
            body,
            lang=language.code,
        )
    )
