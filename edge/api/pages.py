"""The page at `/` and the API pages at `/docs`: static files, served from the installed packages, without internet."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from importlib import resources
from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.responses import Response

#: path -> (package, file)
_FILES: Final = {
    "/": ("edge.web", "index.html"),
    "/web/page.css": ("edge.web", "page.css"),
    "/web/page.js": ("edge.web", "page.js"),
    "/web/icon.svg": ("edge.web", "icon.svg"),
    "/docs": ("edge.web", "docs.html"),
    "/docs/docs.js": ("edge.web", "docs.js"),
    "/docs/swagger-ui-bundle.js": ("fastapi_offline", "static/swagger-ui-bundle.js"),
    "/docs/swagger-ui.css": ("fastapi_offline", "static/swagger-ui.css"),
}
_KINDS: Final = {
    "html": "text/html; charset=utf-8", "css": "text/css; charset=utf-8", "js": "text/javascript; charset=utf-8", "svg": "image/svg+xml",
}  # fmt: skip
#: the API pages' style sheet draws its icons from data: addresses; everything else stays shut
_DOCS_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)


def add_to(app: FastAPI) -> None:
    """Add a route for each file."""
    for path in _FILES:
        app.add_api_route(path, _route(path), methods=["GET"], include_in_schema=False)


def _route(path: str) -> Callable[[Request], Any]:
    package, name = _FILES[path]

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
