"""Who asks, and the routes for signing in. What is decided is decided by the people's part; here it becomes HTTP.

A session is a cookie that no script can read (HttpOnly, SameSite=Strict; Secure where the page has TLS), named by the station, as
stations on one board share a host. Each write by cookie brings the proof that only this station's page can read. Programs send a bearer
token (RFC 6750). A refusal for want of a sign-in is 401 with WWW-Authenticate (RFC 9110, 15.5.2).
"""

from __future__ import annotations

import time
from collections.abc import AsyncGenerator, AsyncIterator, Callable
from hashlib import sha256
from typing import Annotated, Any, Final, TypeVar

from fastapi import Depends, FastAPI, Path, Request
from fastapi.responses import Response

from edge.api import models
from edge.api.asked import body_of, lacks, name_of, only
from edge.api.jsonout import dumps
from edge.api.parts import People
from edge.api.problems import Problem, as_problem
from edge.api.readers import Readers
from edge.api.stream import event
from edge.domain.errors import NewerStore, NotAllowed, NotSignedIn, TooManyTries
from edge.domain.permits import Credentials, SignedIn, Who
from edge.domain.strict_json import shown

T = TypeVar("T")

#: how often a stream looks whether whoever watches may still look (real seconds)
LOOK_AGAIN_S: Final = 15.0
_CHALLENGE: Final = {"www-authenticate": 'Bearer realm="warmwell"'}
_BEARER: Final = "bearer "
_LONGEST: Final = 512


class Door:
    """What the routes ask of the people's part, off the event loop.

    Args:
        people: None where nobody is ever asked to sign in.
        station: names the cookie.
    """

    def __init__(self, people: People | None, station: str) -> None:
        self.people = people
        self.cookie = f"warmwell-{sha256(station.encode()).hexdigest()[:8]}"
        self.readers = Readers()
        self._seconds = time.monotonic

    @property
    def state(self) -> str:
        """`none`, `set_up` or `unreadable`."""
        return "none" if self.people is None else self.people.state

    async def ask(self, path: str, call: Callable[[People], T]) -> T:
        """What the people's part gives. Raises Problem: 401, 403, 422, 429, 503."""
        people = self.people
        if people is None:
            raise Problem(
                404,
                "this station knows no people",
                where=path,
                expected="a station that people sign in to",
                do="Record with by",
            )
        return await self.readers.read(path, lambda: _answered(people, call))

    async def writer(self, request: Request, body: dict[str, Any]) -> Who | None:
        """Who makes this record; None where nobody is ever asked. Raises Problem as ask()."""
        if self.people is None:
            return None
        asks = self.credentials(request)
        return await self.ask(request.url.path, lambda people: people.writer(asks, body))

    async def looks(self, request: Request) -> None:
        """See that whoever asks may look. Raises Problem as ask()."""
        if self.people is not None and not self.people.is_looking_open:
            asks = self.credentials(request)
            await self.ask(request.url.path, lambda people: people.reader(asks))

    async def may_look(self, request: Request) -> bool:
        """The same as an answer."""
        try:
            await self.looks(request)
        except Problem:
            return False
        return True

    def while_looking(self, request: Request, pieces: AsyncIterator[bytes]) -> AsyncIterator[bytes]:
        """Pieces of a stream, for as long as whoever watches may look."""
        return pieces if self.people is None or self.people.is_looking_open else self._watched(request, pieces)

    async def _watched(self, request: Request, pieces: AsyncIterator[bytes]) -> AsyncIterator[bytes]:
        looked_s = self._seconds()
        try:
            async for piece in pieces:
                if self._seconds() - looked_s >= LOOK_AGAIN_S:
                    looked_s = self._seconds()
                    if not await self.may_look(request):
                        yield event("goodbye", {"why": "the sign-in is over; sign in and connect again"})
                        return
                yield piece
        finally:
            if isinstance(pieces, AsyncGenerator):
                await pieces.aclose()

    def credentials(self, request: Request) -> Credentials:
        """What came with a request."""
        said = request.headers.get("authorization", "")
        bearer = said[len(_BEARER) :].strip() if said[: len(_BEARER)].lower() == _BEARER else ""
        return Credentials(
            request.cookies.get(self.cookie, "")[:_LONGEST],
            bearer[:_LONGEST],
            request.headers.get("x-csrf-proof", "")[:_LONGEST],
            address_of(request),
        )


def _answered(people: People, call: Callable[[People], T]) -> T:
    try:
        return call(people)
    except NotSignedIn as exc:
        raise as_problem(401, exc, _CHALLENGE) from exc
    except NotAllowed as exc:
        raise as_problem(403, exc) from exc
    except NewerStore as exc:
        raise as_problem(503, exc) from exc
    except TooManyTries as exc:
        raise as_problem(429, exc, {"retry-after": str(exc.wait_s)}) from exc


def address_of(request: Request) -> str:
    """Where a request comes from."""
    return request.client.host if request.client is not None else ""


def name_in(who: Who | None, body: dict[str, Any], path: str) -> str:
    """The name that signs a record: of whoever is signed in, else as it was typed. Raises Problem, 422."""
    return name_of(body, path) if who is None or who.role is None else who.name


def proven(who: Who | None) -> dict[str, str]:
    """What a record keeps of whoever made it."""
    if who is None:
        return {}
    role = {} if who.role is None else {"by_role": str(who.role)}
    return {**role, "proven": str(who.proof)}


def _door(request: Request) -> Door:
    door: Door = request.app.state.desk.door
    return door


OfDoor = Annotated[Door, Depends(_door)]


async def _looks(request: Request, door: OfDoor) -> None:
    await door.looks(request)


#: a dependency of the routes that only show something
MAY_LOOK: Final = Depends(_looks)


async def sign_in(request: Request, door: OfDoor) -> Response:
    """Sign in with the code on one's card. The answer sets the session's cookie."""
    path = request.url.path
    said = await _texts(request, "code")
    asks = door.credentials(request)
    begun = await door.ask(path, lambda people: people.sign_in(said["code"], asks))
    answer = _session(door, begun)
    answer.set_cookie(
        door.cookie, begun.token, path="/", httponly=True, samesite="strict", secure=request.url.scheme == "https",
        max_age=begun.ends_s,
    )  # fmt: skip
    return answer


async def session(request: Request, door: OfDoor) -> Response:
    """Who is signed in here, until when, and what a write has to bring. Asking doesn't prolong a session."""
    if door.people is None:
        return _session(door, None)
    asks = door.credentials(request)
    return _session(door, await door.ask(request.url.path, lambda people: people.session(asks)))


async def prolong(request: Request, door: OfDoor) -> Response:
    """Somebody is still there: the page says so when it is touched."""
    asks = door.credentials(request)
    return _session(door, await door.ask(request.url.path, lambda people: people.prolong(asks)))


async def sign_out(request: Request, door: OfDoor) -> Response:
    """Sign out: the session is over at once, wherever its cookie is."""
    asks = door.credentials(request)
    await door.ask(request.url.path, lambda people: people.sign_out(asks))
    answer = _session(door, None)
    answer.delete_cookie(door.cookie, path="/", httponly=True, samesite="strict", secure=request.url.scheme == "https")
    return answer


async def names(request: Request, door: OfDoor) -> Response:
    """Who may sign in, with which role, for choosing by a tap. Without a sign-in only where the station file says so."""
    if door.people is None:
        return _json({"people": []})
    asks = door.credentials(request)
    return _json({"people": await door.ask(request.url.path, lambda people: people.names(asks))})


async def first(request: Request, door: OfDoor) -> Response:
    """Make the first person, a biomed, by the one-time code that `warmwell people first` shows on the board."""
    said = await _texts(request, "code", "name")
    address = address_of(request)
    made = await door.ask(request.url.path, lambda people: people.first(said["code"], said["name"], address))
    return _json({"name": made.name, "role": str(made.role), "code": made.code})


async def end_sessions(
    request: Request, door: OfDoor, name: Annotated[str, Path(max_length=80, description="whose sessions")]
) -> Response:
    """End all sessions of a person, whose card was lost perhaps. For a biomed, and for programs with the scope `admin`."""
    asks = door.credentials(request)
    await door.ask(request.url.path, lambda people: people.end_sessions(asks, name))
    return _json({"ended": True})


def _session(door: Door, signed: SignedIn | None) -> Response:
    told: dict[str, Any] = {"people": door.state, "signed_in": signed is not None}
    if signed is not None:
        told |= {
            "people": "set_up", "name": signed.name, "role": str(signed.role), "csrf": signed.csrf,
            "idle_ends_in_s": signed.idle_s, "ends_in_s": signed.ends_s,
        }  # fmt: skip
    return _json(told)


def _json(told: dict[str, Any]) -> Response:
    return Response(dumps(told), media_type="application/json")


async def _texts(request: Request, *keys: str) -> dict[str, str]:
    """The texts of a body that has these keys and no other."""
    body, path = await body_of(request), request.url.path
    for key in body:
        if key not in keys:
            raise Problem(
                422, f"there is no field {shown(key)}", where=path, expected=" and ".join(keys), do="Leave it out"
            )
    for key in keys:
        if not isinstance(body.get(key), str) or not body[key].strip() or len(body[key]) > 80:
            what = lacks(None) if body.get(key) is None else "it can't be used"  # not shown: it may be half a code
            raise Problem(422, what, where=f"{path}, {key}", expected="a text of 1 to 80 characters", do="Correct it")
    return body


def schemes(door: Door) -> dict[str, Any]:
    """OpenAPI of the ways to say who asks. Which routes need one depends on whether people are set up, and on the station file."""
    return {
        "session": {
            "type": "apiKey",
            "in": "cookie",
            "name": door.cookie,
            "description": "writes bring X-CSRF-Proof beside it",
        },
        "token": {"type": "http", "scheme": "bearer", "description": "made by `warmwell people token add`"},
    }


def add_to(app: FastAPI, base: str, refusals: Callable[..., dict[int | str, dict[str, Any]]]) -> None:
    """Add the routes. `refusals`: OpenAPI of the problems that a route may answer with."""

    def add(method: str, path: str, route: Any, model: Any, body: str, *more: int) -> None:
        sent = {"required": True, "content": {"application/json": {"schema": {"$ref": f"#/components/schemas/{body}"}}}}
        app.add_api_route(
            f"{base}{path}",
            route,
            methods=[method],
            response_model=model,
            responses=refusals(422, 503, *more),
            dependencies=[only()],
            openapi_extra={"requestBody": sent} if body else None,
        )

    sent = (400, 401, 403, 404, 408, 415, 429)
    add("POST", "/session", sign_in, models.Session, "SignIn", *sent)
    add("GET", "/session", session, models.Session, "")
    add("PUT", "/session", prolong, models.Session, "", 401, 403, 404)
    add("DELETE", "/session", sign_out, models.Session, "", 403, 404)
    add("GET", "/people", names, models.People, "", 401, 403)
    add("POST", "/people/first", first, models.NewPerson, "First", *sent)
    add("DELETE", "/people/{name}/sessions", end_sessions, models.Ended, "", 401, 403, 404)
