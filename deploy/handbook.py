"""The handbook, or another paper of this folder, as a PDF for print: A4, with bookmarks, page numbers and links that work within it.

    .cache/env/run-…/bin/python deploy/handbook.py handbook.pdf                    the handbook
    .cache/env/run-…/bin/python deploy/handbook.py install.pdf deploy/install.md   another paper

Run it with the Python of an environment that was made from deploy/requirements-run.lock (deploy/stick.sh does, and puts the PDF on the
stick). The same paper gives the same bytes. Markdown is read by markdown-it-py, pages are laid out by reportlab.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final
from xml.sax.saxutils import escape, quoteattr

from markdown_it import MarkdownIt
from markdown_it.tree import SyntaxTreeNode
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import registerFont, registerFontFamily, stringWidth
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    Flowable,
    Image,
    KeepTogether,
    ListFlowable,
    ListItem,
    LongTable,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    XPreformatted,
)

HERE: Final = Path(__file__).resolve().parent
MARGIN: Final = 18 * mm
WIDTH: Final = A4[0] - 2 * MARGIN - 12
GREY: Final = HexColor("#999999")
PAPER: Final = HexColor("#f0f0ee")
LINK: Final = "#1f4e79"
PLAIN: Final = ParagraphStyle("plain", fontName="Vera", fontSize=8.5, leading=12, spaceAfter=4)
CELL: Final = ParagraphStyle("cell", parent=PLAIN, fontSize=7, leading=9.5, spaceAfter=0)
CODE: Final = ParagraphStyle(
    "code",
    parent=PLAIN,
    fontSize=7.2,
    leading=10,
    leftIndent=4,
    backColor=PAPER,
    borderPadding=3,
    spaceBefore=3,
    spaceAfter=7,
)
HEADS: Final = {
    level: ParagraphStyle(
        f"h{level}",
        parent=PLAIN,
        fontName="VeraBd",
        fontSize=size,
        leading=1.3 * size,
        spaceBefore=before,
        spaceAfter=3,
        keepWithNext=1,
    )
    for level, size, before in ((1, 17, 0), (2, 12.5, 12), (3, 9.5, 7))
}
#: signs that the font has no picture of -> what stands there
WORDS: Final = {"→": "->", "←": "<-", "↑": "up", "↓": "down", "✓": "ok", "⚠": "Caution:", "‑": "-", "\u202f": "\u00a0"}
#: a long name breaks behind these
BREAKS: Final = re.compile(r"([/_.:=-])(?=\w)")


class Unknown(ValueError):
    """A form of Markdown that this has no form for: a paper loses nothing on its way to print."""


class Heading(Paragraph):
    """A heading that stands among the bookmarks, and that links within the paper lead to."""

    def __init__(self, words: str, level: int, plain: str) -> None:
        super().__init__(f"<a name={quoteattr(anchor(plain))}/>{words}", HEADS[level])
        self.level, self.plain = level, plain

    def draw(self) -> None:
        key = f"at-{anchor(self.plain)}"
        self.canv.bookmarkPage(key)
        self.canv.addOutlineEntry(self.plain, key, self.level - 1)
        super().draw()


class Numbered(Canvas):
    """Each page bears its number."""

    def showPage(self) -> None:  # reportlab's name
        self.setFont("Vera", 7)
        self.drawRightString(A4[0] - MARGIN, 10 * mm, str(self.getPageNumber()))
        super().showPage()


def anchor(heading: str) -> str:
    """What a link to a heading is called.

    >>> anchor("When something is wrong"), anchor("A lamp's colours")
    ('when-something-is-wrong', 'a-lamps-colours')
    """
    return re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-")


def plain(node: SyntaxTreeNode) -> str:
    """The words of a node alone."""
    if node.type in ("text", "code_inline"):
        return str(node.content)
    return " " if node.type == "softbreak" or node.content == "<br>" else "".join(map(plain, node.children))


def shown(text: str) -> str:
    """A text for reportlab's paragraphs: signs that the font has, and nothing that is markup."""
    return escape("".join(WORDS.get(sign, sign) for sign in text))


def words(node: SyntaxTreeNode) -> str:
    """The words of a line, with what stands out in them."""
    inside = "".join(map(words, node.children)) if node.children else ""
    match node.type:
        case "text":
            return shown(node.content)
        case "softbreak":
            return " "
        case "hardbreak":
            return "<br/>"
        case "code_inline":
            return f'<font face="Vera" backColor="#f0f0ee">{shown(node.content)}</font>'
        case "strong":
            return f"<b>{inside}</b>"
        case "em":
            return f"<i>{inside}</i>"
        case "link":
            to = str(node.attrs["href"])
            if to.startswith(("#", "http")):
                return f'<link href={quoteattr(to)} color="{LINK}">{inside}</link>'
            return inside if to.partition("#")[0] in inside else f"{inside} ({shown(to.partition('#')[0])})"
        case "html_inline" if named := re.fullmatch(r'<a id="([\w:-]+)">', node.content):
            return f'<a name="{named[1]}"/>'
        case "html_inline" if node.content in ("</a>", "<br>"):
            return "<br/>" if node.content == "<br>" else ""
        case "image":
            return ""
        case "inline":
            return inside
    raise Unknown(f"{node.type} in a line")


def flow(node: SyntaxTreeNode, folder: Path, style: ParagraphStyle = PLAIN) -> Iterator[Flowable]:
    """What a block becomes."""
    match node.type:
        case "heading":
            yield Heading(words(node.children[0]), min(int(node.tag[1]), 3), plain(node))
        case "paragraph":
            yield from _images(node, folder)
            if text := words(node.children[0]).strip():
                yield Paragraph(text, style)
        case "bullet_list" | "ordered_list":
            items = [ListItem(list(_all(item, folder)), leftIndent=14) for item in node.children]
            kind = (
                {"bulletType": "bullet", "start": "•"}
                if node.type == "bullet_list"
                else {"bulletType": "1", "bulletFormat": "%s."}
            )
            yield ListFlowable(items, leftIndent=14, bulletFontName="Vera", bulletFontSize=8, **kind)
            yield Spacer(0, 3)
        case "fence" | "code_block":
            yield _code(node.content)
        case "table":
            yield _table(node)
            yield Spacer(0, 6)
        case "html_block" if node.content.strip().startswith("<!--"):
            return  # a note for who writes
        case "blockquote":
            yield from _all(node, folder, ParagraphStyle("quoted", parent=style, leftIndent=10))
        case _:
            raise Unknown(node.type)


def _all(node: SyntaxTreeNode, folder: Path, style: ParagraphStyle = PLAIN) -> Iterator[Flowable]:
    for child in node.children:
        yield from flow(child, folder, style)


def _images(node: SyntaxTreeNode, folder: Path) -> Iterator[Flowable]:
    for child in node.walk():
        if child.type == "image" and str(child.attrs["src"]).endswith(".png"):
            picture = Image(str(folder / str(child.attrs["src"])))
            scale = min(1.0, WIDTH / picture.imageWidth)
            picture.drawWidth, picture.drawHeight = picture.imageWidth * scale, picture.imageHeight * scale
            yield KeepTogether([picture, Paragraph(f"<i>{shown(plain(child))}</i>", CELL), Spacer(0, 6)])


def _code(text: str) -> Flowable:
    """Lines as they are typed: one that is too long goes on in the next, further to the right, as a shell takes it."""
    return XPreformatted(shown("\n".join(map(_folded, text.rstrip().split("\n")))), CODE)


def _folded(line: str) -> str:
    """A line as it is, or folded between its words; what stands in quotes is one."""
    first, *rest = re.findall(r"(?:'[^']*'|\S)+", line) or [""]
    if _fits(line) or not rest:
        return line
    lines = [first]
    for word in rest:
        if _fits(f"{lines[-1]} {word} \\"):
            lines[-1] += f" {word}"
        else:
            lines.append(f"    {word}")
    return " \\\n".join(lines)


def _fits(line: str) -> bool:
    return bool(stringWidth(line, CODE.fontName, CODE.fontSize) <= WIDTH - 24)


def _table(node: SyntaxTreeNode) -> Flowable:
    rows = [[cell.children[0] for cell in row.children] for part in node.children for row in part.children]
    columns = [[plain(cell) for cell in column] for column in zip(*rows, strict=True)]
    most = [max(stringWidth(text, "Vera", CELL.fontSize) for text in column) + 10 for column in columns]
    least = [
        max(stringWidth(word, "VeraBd", CELL.fontSize) for text in column for word in text.split() or [""]) + 10
        for column in columns
    ]
    spare = max(WIDTH - sum(least), 0.0)
    wanted = [max(a - b, 0.0) for a, b in zip(most, least, strict=True)]
    share = min(1.0, spare / sum(wanted)) if sum(wanted) else 0.0
    widths = [b + share * w for b, w in zip(least, wanted, strict=True)]
    shrink = min(1.0, WIDTH / sum(widths))
    cells = [
        [Paragraph(f"<b>{words(cell)}</b>" if number == 0 else words(cell), CELL) for cell in row]
        for number, row in enumerate(rows)
    ]
    style: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 0.4, GREY), ("BACKGROUND", (0, 0), (-1, 0), PAPER),
        ("LEFTPADDING", (0, 0), (-1, -1), 3), ("RIGHTPADDING", (0, 0), (-1, -1), 3),
    ]  # fmt: skip
    return LongTable(cells, colWidths=[width * shrink for width in widths], repeatRows=1, style=style, hAlign="LEFT")


def fonts() -> None:
    """Those that come with reportlab; they are embedded."""
    for name in ("Vera", "VeraBd", "VeraIt", "VeraBI"):
        registerFont(TTFont(name, f"{name}.ttf"))
    registerFontFamily("Vera", normal="Vera", bold="VeraBd", italic="VeraIt", boldItalic="VeraBI")


def pdf_of(paper: Path, out: Path) -> None:
    """Lay a paper out.

    Raises:
        Unknown: it has a form that isn't known here.
    """
    fonts()
    tree = SyntaxTreeNode(MarkdownIt("commonmark").enable("table").parse(paper.read_text(encoding="utf-8")))
    title = next(plain(node) for node in tree.children if node.type == "heading")
    laid = SimpleDocTemplate(
        str(out), pagesize=A4, leftMargin=MARGIN, rightMargin=MARGIN, topMargin=MARGIN, bottomMargin=MARGIN, title=f"Warmwell: {title}",
        author="Warmwell", creator="Warmwell", invariant=1, lang="en",
    )  # fmt: skip
    laid.build(list(_all(tree, paper.parent)), canvasmaker=Numbered)


if __name__ == "__main__":
    if len(sys.argv) not in (2, 3):
        sys.exit(
            f"{Path(__file__).name}: no file is named; expected OUT.pdf, and the paper where it isn't the handbook. Say where it goes."
        )
    pdf_of(Path(sys.argv[2]) if len(sys.argv) == 3 else HERE / "handbook.md", Path(sys.argv[1]))
