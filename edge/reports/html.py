"""A page of HTML as a tree: what is put into it is escaped when it is written (html.parser and browsers read it back as it was)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, TypeAlias
from xml.etree import ElementTree

Element: TypeAlias = ElementTree.Element
Child: TypeAlias = "Element | str | None"

_DOCTYPE: Final = "<!doctype html>\n"


def el(tag: str, *children: Child, **attributes: str) -> Element:
    """An element; `class_` is its class, and an underscore in the name of another attribute stands for a hyphen.

    >>> written(el("p", "1 < 2 ", el("b", "bold"), " & more", class_="note"))
    '<p class="note">1 &lt; 2 <b>bold</b> &amp; more</p>'
    """
    element = ElementTree.Element(tag, {key.strip("_").replace("_", "-"): value for key, value in attributes.items()})
    add(element, *children)
    return element


def add(element: Element, *children: Child) -> None:
    """Append elements and texts, in their order."""
    for child in children:
        if child is None:
            continue
        if not isinstance(child, str):
            element.append(child)
        elif len(element):
            element[-1].tail = (element[-1].tail or "") + child
        else:
            element.text = (element.text or "") + child


def written(element: Element) -> str:
    """The HTML of an element."""
    return ElementTree.tostring(element, encoding="unicode", method="html")


def document(root: Element) -> str:
    """The HTML of a whole page."""
    return _DOCTYPE + written(root) + "\n"


def table(head: list[str], rows: list[list[Child]], shares: Sequence[int] = ()) -> Element:
    """A table, with a head where there is one. `shares`: of its width for each column [%]; none: as the texts want it."""
    body = [
        el("tr", *(el("td", cell) if not isinstance(cell, list) else el("td", *cell) for cell in row)) for row in rows
    ]
    named = el("thead", el("tr", *(el("th", title) for title in head))) if head else None
    if not shares:
        return el("table", named, el("tbody", *body))
    columns = el("colgroup", *(el("col", style=f"width: {share}%") for share in shares))
    return el("table", columns, named, el("tbody", *body), class_="fixed")
