"""A report's page as a PDF: the very elements of its HTML, laid out on A4. The HTML itself is attached to it, and proves it.

What a font can't show stands there in words, so that nothing is lost in print: an arrow as what it says, any other sign by its name. Fonts
are embedded (those that come with reportlab), drawings are lines and areas. The same page always comes to the same bytes, so that
proof.py can make it again and compare.
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any, Final
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import Circle, Drawing, Group, Line, PolyLine, Rect, String
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName, PDFStream, PDFString
from reportlab.pdfbase.pdfmetrics import registerFont, registerFontFamily, stringWidth
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, HRFlowable, LongTable, Paragraph, SimpleDocTemplate, Spacer

from edge.reports.attached import PRODUCER, maker
from edge.reports.html import Element, document

_PLAIN: Final = "Vera"
_BOLD: Final = "VeraBd"
_MARGIN: Final = 14 * mm
_FRAME: Final = 6  # what reportlab leaves free within its margins [pt]
_WIDTH: Final = A4[0] - 2 * _MARGIN - 2 * _FRAME
#: a column is no narrower than this for what it can't break, and the first one is kept on one line up to here
_MOST_UNBROKEN: Final = 45 * mm
_PADDING: Final = 2.5 * mm
#: class or tag -> size [pt], space before and after [mm], whether it is bold
_LOOKS: Final[Mapping[str, tuple[float, float, float, bool]]] = {
    "h1": (15, 0, 1, True), "h2": (10.5, 5, 1.5, True), "h3": (8.5, 3, 1, True), "p": (8.5, 0, 1, False), "td": (7.5, 0, 0, False),
    "th": (7.5, 0, 0, True), "loud": (8.5, 1, 1, True), "station": (8.5, 0, 1, True), "digest": (7, 0, 1, False),
}  # fmt: skip
_GREY: Final = "#444444"
_RULE: Final = HexColor("#999999")
#: patterns of a drawing, as lines or dots so far apart
_PATTERNS: Final[Mapping[str, float]] = {"url(#lines)": 4.0, "url(#dots)": 5.0}
_ARROWS: Final = ("→", "->")


def pdf_of(root: Element, becomes: str) -> bytes:
    """The PDF of a page.

    Args:
        root: its HTML.
        becomes: what an arrow says, in its language.
    """
    _fonts()
    said = _Said(becomes)
    title = str(root.findtext("head/title") or "")
    body = root.find("body")
    assert body is not None
    out = io.BytesIO()
    paper = SimpleDocTemplate(
        out, pagesize=A4, leftMargin=_MARGIN, rightMargin=_MARGIN, topMargin=_MARGIN, bottomMargin=16 * mm, title=title, author="Warmwell",
        subject=title, creator="Warmwell", invariant=1, producer=PRODUCER.format(maker()),
    )  # fmt: skip
    attached, language = document(root).encode(), str(root.get("lang"))

    def canvas(*args: Any, **options: Any) -> Canvas:
        return _Numbered(*args, attached=attached, language=language, **options)

    paper.build(list(_flow(body, said)), canvasmaker=canvas)
    return out.getvalue()


class _Numbered(Canvas):  # type: ignore[misc]  # reportlab has no types
    """Each page bears its number and how many there are; the HTML is attached."""

    def __init__(self, *args: Any, attached: bytes, language: str, **options: Any) -> None:
        super().__init__(*args, **options)
        self._attached, self._pages = attached, list[dict[str, Any]]()
        self._doc.Catalog.Lang = PDFString(language)

    def showPage(self) -> None:  # reportlab's name
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        pages = self._pages
        for number, page in enumerate(pages, 1):
            self.__dict__.update(page)
            self.setFont(_PLAIN, 7)
            self.drawRightString(A4[0] - _MARGIN, 9 * mm, f"{number} / {len(pages)}")
            super().showPage()
        self._attach()
        super().save()

    def _attach(self) -> None:
        stream = PDFStream(
            PDFDictionary({"Type": PDFName("EmbeddedFile")}),
            self._attached,
            filters=[],
        )
        named = PDFString("report.html")
        file = PDFDictionary({"F": self._doc.Reference(stream)})
        told = PDFDictionary({"Type": PDFName("Filespec"), "F": named, "UF": named, "EF": file})
        files = PDFDictionary({"Names": PDFArray([named, self._doc.Reference(told)])})
        self._doc.Catalog.Names = PDFDictionary({"EmbeddedFiles": files})


@lru_cache(maxsize=1)
def _fonts() -> Mapping[int, int]:
    """The signs that the fonts can show."""
    plain, bold = TTFont(_PLAIN, "Vera.ttf"), TTFont(_BOLD, "VeraBd.ttf")
    registerFont(plain)
    registerFont(bold)
    registerFontFamily(_PLAIN, normal=_PLAIN, bold=_BOLD, italic=_PLAIN, boldItalic=_BOLD)
    glyphs: Mapping[int, int] = plain.face.charToGlyph
    return {sign: glyph for sign, glyph in glyphs.items() if sign in bold.face.charToGlyph}


class _Said:
    """Texts in signs that the fonts have."""

    def __init__(self, becomes: str) -> None:
        self._becomes, self._known = becomes, _fonts()

    def __call__(self, text: str) -> str:
        text = unicodedata.normalize("NFC", text)
        for arrow in _ARROWS:
            text = text.replace(arrow, self._becomes)
        return "".join(one if ord(one) in self._known or one == "\n" else self._in_words(one) for one in text)

    @staticmethod
    def _in_words(sign: str) -> str:
        if unicodedata.category(sign) in ("Zs", "Cc", "Cf"):
            return " "
        return f"({unicodedata.name(sign, f'U+{ord(sign):04X}').lower()})"


def _style(look: str, *, is_quiet: bool = False) -> ParagraphStyle:
    size, before, after, is_bold = _LOOKS[look]
    return ParagraphStyle(
        look, fontName=_BOLD if is_bold else _PLAIN, fontSize=size, leading=size * 1.3, spaceBefore=before * mm, spaceAfter=after * mm,
        textColor=HexColor(_GREY if is_quiet else "#111111"), keepWithNext=look in ("h2", "h3"), splitLongWords=True,
    )  # fmt: skip


def _words(element: Element, said: Callable[[str], str]) -> str:
    """All text of an element, as reportlab's markup."""
    return escape(said("".join(element.itertext())))


def _flow(parent: Element, said: Callable[[str], str]) -> Iterator[Flowable]:
    for child in parent:
        looks = str(child.get("class") or "")
        if child.tag == "header":
            yield from _flow(child, said)
            yield HRFlowable(width="100%", thickness=1.2, color=HexColor("#111111"), spaceBefore=2, spaceAfter=4)
        elif child.tag == "svg":
            yield _drawing(child, _WIDTH, said)
        elif child.tag == "table":
            yield _table(child, said, is_to_sign=looks == "signatures")
            yield Spacer(0, 2.5 * mm)
        elif child.tag == "ul":
            yield from _legend(child, said)
        else:
            look = looks if looks in _LOOKS else str(child.tag)
            yield Paragraph(_words(child, said), _style(look, is_quiet=looks == "quiet"))


def _legend(listed: Element, said: Callable[[str], str]) -> Iterator[Flowable]:
    for item in listed:
        mark = item.find("svg")
        text = Paragraph(_words(item, said), _style("td"))
        cells = [text] if mark is None else [_drawing(mark, 20.0, said), text]
        widths = [_WIDTH] if mark is None else [24.0, _WIDTH - 24.0]
        yield LongTable(
            [cells], widths, style=[("LEFTPADDING", (0, 0), (-1, -1), 0), ("BOTTOMPADDING", (0, 0), (-1, -1), 0)]
        )


def _table(table: Element, said: Callable[[str], str], *, is_to_sign: bool) -> Flowable:
    heads = [list(row) for row in table.findall("thead/tr")]
    rows = heads + [list(row) for row in table.findall("tbody/tr")]
    if not rows:
        return Spacer(0, 0)
    widths = _widths([[said("".join(cell.itertext())) for cell in row] for row in rows], len(heads))
    cells = [[_cell(cell, said) for cell in row] for row in rows]
    style: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), _PADDING),
        ("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5), ("LINEBELOW", (0, 0), (-1, -1), 0.4, _RULE),
    ]  # fmt: skip
    if heads:
        style.append(("LINEBELOW", (0, 0), (-1, len(heads) - 1), 0.8, HexColor("#111111")))
    heights = [None] * len(heads) + [11 * mm] * (len(rows) - len(heads)) if is_to_sign else None
    return LongTable(
        cells, widths, rowHeights=heights, repeatRows=len(heads), splitInRow=0 if is_to_sign else 1, style=style
    )


def _cell(cell: Element, said: Callable[[str], str]) -> list[Flowable]:
    style = _style("th" if cell.tag == "th" else "td")
    items = cell.findall("ul/li")
    return [Paragraph(_words(item, said), style) for item in items] if items else [Paragraph(_words(cell, said), style)]


def _widths(rows: Sequence[Sequence[str]], heads: int) -> list[float]:
    """Each column as wide as what it can't break, and of the rest what its text would take."""
    least, wanted = [0.0] * len(rows[0]), [0.0] * len(rows[0])
    for number, row in enumerate(rows):
        font, size = (_BOLD if number < heads else _PLAIN), _LOOKS["td"][0]
        for column, text in enumerate(row):
            whole = max((stringWidth(line, font, size) for line in text.split("\n")), default=0.0)
            word = max((stringWidth(word, font, size) for word in text.split()), default=0.0)
            unbroken = whole if column == 0 and number >= heads else word
            least[column] = max(least[column], min(unbroken, _MOST_UNBROKEN))
            wanted[column] = max(wanted[column], min(whole, 3 * _MOST_UNBROKEN))
    least = [width + _PADDING + 1.0 for width in least]
    if sum(least) >= _WIDTH:
        return [width * _WIDTH / sum(least) for width in least]
    more = [max(want + _PADDING + 1.0 - width, 0.0) for want, width in zip(wanted, least, strict=True)]
    share = min(1.0, (_WIDTH - sum(least)) / sum(more)) if sum(more) > 0.0 else 0.0
    taken = [width + share * extra for width, extra in zip(least, more, strict=True)]
    return [width + (_WIDTH - sum(taken)) / len(taken) for width in taken]


def _drawing(svg: Element, width: float, said: Callable[[str], str]) -> Drawing:
    """One of our own drawings (drawing.py): boxes, lines, courses and texts."""
    _, _, across, down = (float(part) for part in str(svg.get("viewBox")).split())
    scale = width / across
    drawing, shapes = Drawing(width, down * scale), Group()
    for element in svg:
        for shape in _shapes(element, down, said):
            shapes.add(shape)
    shapes.scale(scale, scale)
    drawing.add(shapes)
    return drawing


def _shapes(element: Element, down: float, said: Callable[[str], str]) -> Iterator[Any]:
    def of(name: str) -> float:
        return float(element.get(name, "0"))

    stroke = HexColor(_whole(element.get("stroke"))) if element.get("stroke") else None
    if element.tag == "rect":
        x, y, width, height = of("x"), down - of("y") - of("height"), of("width"), of("height")
        filling = str(element.get("fill", "none"))
        fill = None if filling == "none" else HexColor(_whole(None if filling in _PATTERNS else filling))
        yield Rect(x, y, width, height, fillColor=fill, strokeColor=stroke, strokeWidth=of("stroke-width"))
        if filling in _PATTERNS:
            yield from _pattern(filling, x, y, width, height)
    elif element.tag == "line":
        yield Line(
            of("x1"), down - of("y1"), of("x2"), down - of("y2"), strokeColor=stroke, strokeWidth=of("stroke-width")
        )
    elif element.tag == "polyline":
        pairs = [pair.split(",") for pair in str(element.get("points")).split()]
        flat = [number for x, y in pairs for number in (float(x), down - float(y))]
        yield PolyLine(flat, strokeColor=stroke, strokeWidth=of("stroke-width"))
    elif element.tag == "text":
        anchor = str(element.get("text-anchor", "start"))
        text = said("".join(element.itertext()))
        yield String(of("x"), down - of("y"), text, fontName=_PLAIN, fontSize=of("font-size"), textAnchor=anchor)


def _pattern(filling: str, x: float, y: float, width: float, height: float) -> Iterator[Any]:
    apart, black = _PATTERNS[filling], HexColor("#111111")
    if filling == "url(#lines)":
        for step in range(int(width / apart) + 1):
            yield Line(x + step * apart, y, x + step * apart, y + height, strokeColor=black, strokeWidth=0.8)
        return
    for row in range(int(height / apart)):
        for step in range(int(width / apart)):
            yield Circle(x + (step + 0.5) * apart, y + (row + 0.5) * apart, 0.6, fillColor=black, strokeColor=None)


def _whole(color: str | None) -> str:
    """#abc as #aabbcc; white where there is none."""
    color = color or "#fff"
    return "#" + "".join(one * 2 for one in color[1:]) if len(color) == 4 else color
