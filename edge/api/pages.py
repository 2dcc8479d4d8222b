"""The page at `/` and the API pages at `/docs`: static files, served from the installed packages, without internet."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.responses import Response

_KINDS: Final = {
    "html": "text/html; charset=utf-8", "css": "text/css; charset=utf-8", "js": "text/javascript; charset=utf-8", "svg": "image/svg+xml",
}  # fmt: skip
#: what stands elsewhere than under its own name below /web/
_ELSEWHERE: Final = {"docs.html": "/docs", "docs.js": "/docs/docs.js"}
#: the page of a station, and that of an archive, with what is its alone
HOME, FLEET_HOME = "index.html", "fleet.html"
_OF_FLEET: Final = (FLEET_HOME, "fleet/", "look/fleet.css")


def _own(folder: Traversable, above: str = "") -> Iterator[str]:
    """The page's files in the package, as paths below its folder; whatever else lies there is none."""
    for item in sorted(folder.iterdir(), key=lambda one: one.name):
        if item.is_dir():
            yield from _own(item, f"{above}{item.name}/")
        elif item.name.rpartition(".")[2] in _KINDS:
            yield above + item.name


@cache
def files(home: str = HOME) -> Mapping[str, tuple[str, str]]:
    """path -> (package, file), by looking into the installed package; `home` stands at /."""
    names = [name for name in _own(resources.files("edge.web")) if name not in (HOME, FLEET_HOME)]
    own = {_ELSEWHERE.get(name, f"/web/{name}"): ("edge.web", name) for name in names} | {"/": ("edge.web", home)}
    if home == FLEET_HOME:
        return {path: file for path, file in own.items() if not path.startswith("/docs")}
    own = {path: (package, name) for path, (package, name) in own.items() if not name.startswith(_OF_FLEET)}
    return {
        **own,
        "/docs/swagger-ui-bundle.js": ("fastapi_offline", "static/swagger-ui-bundle.js"),
        "/docs/swagger-ui.css": ("fastapi_offline", "static/swagger-ui.css"),
    }


#: the API pages' style sheet draws its icons from data: addresses; everything else stays shut
_DOCS_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)


def add_to(app: FastAPI, home: str = HOME) -> None:
    """Add a route for each file."""
    for path, (package, name) in files(home).items():
        app.add_api_route(path, _route(path, package, name), methods=["GET"], include_in_schema=False)


def _route(path: str, package: str, name: str) -> Callable[[Request], Any]:
    async def route(request: Request) -> Response:
        body, tag = _small(package, name) if package == "edge.web" else _read(package, name)
        headers = {"cache-control": "no-cache", "etag": tag}
        if path.startswith("/docs"):
            headers["content-security-policy"] = _DOCS_POLICY
        if tag in request.headers.get("if-none-match", ""):
            return Response(status_code=304, headers=headers)
        return Response(body, media_type=_KINDS[name.rpartition(".")[2]], headers=headers)

    return route


@cache
def _small(package: str, name: str) -> tuple[bytes, str]:
    return _read(package, name)


def _read(package: str, name: str) -> tuple[bytes, str]:
    body = resources.files(package).joinpath(name).read_bytes()
    return body, f'"{hashlib.sha256(body).hexdigest()[:16]}"'
