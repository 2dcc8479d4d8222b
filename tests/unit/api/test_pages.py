"""The page and the API pages: whole in the package, nothing from elsewhere, nothing that a content security policy would stop."""

from __future__ import annotations

import asyncio
import re
from html.parser import HTMLParser

import pytest

from edge.api import app as api
from edge.api.parts import Parts
from tests.api_fakes import ABOUT, Answer, Fakes, ask


def get(path: str, **headers: str) -> Answer:
    fakes = Fakes()
    app = api.bordered(api.build(Parts(fakes.judge, fakes.journal, fakes.series, ABOUT, fakes.status)), "127.0.0.1")
    return asyncio.run(ask(app, "GET", path, None, {k.replace("_", "-"): v for k, v in headers.items()}))


class Needs(HTMLParser):
    """What a page loads, and what a policy without 'unsafe-inline' would stop."""

    def __init__(self) -> None:
        super().__init__()
        self.loads: list[str] = []
        self.inline: list[str] = []
        self.ids: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.loads += [str(given[name]) for name in ("src", "href") if name in given and tag != "a"]
        self.ids += [str(given["id"])] if "id" in given else []
        self.inline += [name for name in given if name.startswith("on") or name == "style"]
        if tag == "style" or (tag == "script" and "src" not in given):
            self.inline.append(tag)


def needs_of(html: str) -> Needs:
    needs = Needs()
    needs.feed(html)
    return needs


@pytest.mark.parametrize("page", ["/", "/docs"])
def test_a_page_needs_nothing_from_elsewhere(page: str) -> None:
    answer = get(page)
    assert answer.status == 200 and answer.headers["content-type"] == "text/html; charset=utf-8"
    needs = needs_of(answer.body.decode())
    assert needs.loads and needs.inline == []
    for path in needs.loads:
        assert path.startswith("/") and not path.startswith("//"), path
        assert get(path).status == 200, path
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy and "script-src 'self';" in policy and "http" not in policy
    assert "style-src 'self';" in policy and "unsafe" not in policy and "frame-ancestors 'none'" in policy


def test_the_api_pages_name_no_other_host() -> None:
    """Ours, that is; the library's script holds addresses in its texts, and the policy stops whatever it would fetch."""
    for path in ("/docs", "/docs/docs.js", "/web/page.js", "/web/page.css", "/"):
        assert not re.search(r"(?:https?:)?//(?!www\.w3\.org/)[a-z0-9-]+\.[a-z]", get(path).body.decode()), path
    assert "connect-src 'self';" in get("/docs").headers["content-security-policy"]
    assert "validatorUrl: null" in get("/docs/docs.js").body.decode()


def test_the_page_says_what_to_do_without_a_script() -> None:
    html = get("/").body.decode()
    assert (
        "<noscript>" in html
        and "/api/1/verdict" in html
        and "surroundings only: the maker's instructions decide the rest" in html
    )


def test_the_script_asks_only_for_elements_that_the_page_has() -> None:
    ids = set(needs_of(get("/").body.decode()).ids)
    asked = set(re.findall(r'\$\("([a-z-]+)"\)', get("/web/page.js").body.decode()))
    assert asked and asked <= ids, asked - ids


def test_the_script_writes_text_only_as_text() -> None:
    script = get("/web/page.js").body.decode()
    assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\b|new Function", script)


def test_an_unchanged_file_is_not_sent_again() -> None:
    first = get("/web/page.js")
    again = get("/web/page.js", if_none_match=first.headers["etag"])
    assert (again.status, again.body) == (304, b"")


def test_what_may_be_touched_is_big_enough_for_gloves() -> None:
    """WCAG 2.2, 2.5.5 asks for 44 CSS px; ours are 48 or more."""
    css = get("/web/page.css").body.decode()
    button = re.search(r"^button \{([^}]*)\}", css, re.MULTILINE)
    assert button is not None
    sizes = [int(n) for n in re.findall(r"min-(?:height|width): (\d+)px", button.group(1))]
    assert len(sizes) == 2 and min(sizes) >= 48
    field = re.search(r"dialog input \{[^}]*min-height: (\d+)px", css)
    assert field is not None and int(field.group(1)) >= 48


def _luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize(
    "text, ground",
    [
        ("--text", "--panel"),
        ("--quiet", "--panel"),
        ("--quiet", "--ground"),
        ("--text", "--amber"),
        ("--text", "#e0d7f0"),
        ("--text", "#ffe3ab"),
        ("--text", "#e9e1f5"),
        ("--quiet", "#e9e1f5"),
        ("--quiet", "#fbe4e2"),
        ("--quiet", "#fff1d3"),
        ("--red", "#ffffff"),
    ],
)
def test_words_stand_out_from_their_ground(text: str, ground: str) -> None:
    """WCAG 2.2, 1.4.3: a contrast of at least 4.5; luminance as defined there."""
    css = get("/web/page.css").body.decode()
    colours = dict(re.findall(r"(--[a-z]+): (#[0-9a-f]{6})", css))
    one, other = sorted((_luminance(colours.get(c, c)) for c in (text, ground)), reverse=True)
    assert (one + 0.05) / (other + 0.05) >= 4.5
