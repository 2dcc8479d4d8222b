"""The page and the API pages: whole in the package, nothing from elsewhere, nothing that a content security policy would stop."""

from __future__ import annotations

import asyncio
import posixpath
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from edge.api import app as api
from edge.api import pages
from edge.api.parts import Parts
from tests.api_fakes import ABOUT, Answer, Fakes, ask

FOLDER = Path(pages.__file__).parents[1] / "web"


FAKES = Fakes()
APP = api.bordered(api.build(Parts(FAKES.judge, FAKES.journal, FAKES.series, ABOUT, FAKES.status)), "127.0.0.1")


def get(path: str, **headers: str) -> Answer:
    return asyncio.run(ask(APP, "GET", path, None, {k.replace("_", "-"): v for k, v in headers.items()}))


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
    for path in (path for path, (package, _) in pages.files().items() if package == "edge.web"):
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


def test_every_file_of_the_page_is_served_and_nothing_else_of_its_folder() -> None:
    there = {
        str(path.relative_to(FOLDER))
        for path in FOLDER.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    served = {name for package, name in pages.files().values() if package == "edge.web"}
    over_archive = {name for _, name in pages.files(pages.FLEET_HOME).values()}
    assert there - served - over_archive == {"__init__.py"} and len(served) > 15
    assert not [name for name in served if "fleet" in name]
    for path in pages.files():
        assert get(path).status == 200, path
    assert get("/web/__init__.py").status == get("/web/../app.py").status == 404


@pytest.mark.parametrize("path", [path for path in pages.files() if path.endswith(".js") and path.startswith("/web/")])
def test_a_module_imports_only_modules_that_are_served(path: str) -> None:
    """Plain modules, no build step: what one imports is fetched as it stands, and names only what the other exports."""
    script = get(path).body.decode()
    for names, source in re.findall(r"import (?:\* as \w+|\{([^}]*)\}) from \"([^\"]+)\";", script):
        target = posixpath.normpath(posixpath.join(posixpath.dirname(path), source))
        assert target in pages.files(), source
        exported = set(
            re.findall(r"^export (?:async )?(?:function|const|class) ([\w$]+)", get(target).body.decode(), re.MULTILINE)
        )
        for name in filter(None, (name.strip() for name in names.split(","))):
            taken, _, called = name.partition(" as ")
            assert taken in exported, f"{source} has no {taken}"
            assert len(re.findall(rf"(?<![\w$]){re.escape(called or taken)}(?![\w$])", script)) > 1, (
                f"{name} is imported in vain"
            )
    assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\b|new Function", script)


def test_an_unchanged_file_is_not_sent_again() -> None:
    first = get("/web/main.js")
    again = get("/web/main.js", if_none_match=first.headers["etag"])
    assert (again.status, again.body) == (304, b"")
