"""`warmwell face …`, as the command line shows it. Each face's verb stands three times: to show a station, to list what it shows, and to
be tested before a witness. The faces are in edge/faces/, imported where they are used."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from edge import terminal
from edge.cli.face_tell_verbs import snmp, sparkplug, syslog
from edge.cli.options import DEFAULT_URL, Api, Ca, FileOption, Fingerprint, done

if TYPE_CHECKING:
    from edge.faces.face import Face

verbs = typer.Typer(
    help="One station in a building's own protocols. Read-only.", no_args_is_help=True, rich_markup_mode=None
)
lists = typer.Typer(help="Print the list of points of a face, as CSV.", no_args_is_help=True, rich_markup_mode=None)
rehearsals = typer.Typer(
    help="Raise each alarm once for a witness, in the face alone: the station has none of it.", no_args_is_help=True,
    rich_markup_mode=None,
)  # fmt: skip
verbs.add_typer(lists, name="points")
verbs.add_typer(rehearsals, name="test")

Places = Annotated[
    Path,
    FileOption(
        help="The file that keeps which point has which place: it is made where there is none, and has to be kept.", metavar="FILE",
        envvar="WARMWELL_FACE_PLACES",
    ),
]  # fmt: skip
Interface = Annotated[
    str,
    typer.Option(
        help="The address of this computer's one interface that the face answers on.", metavar="ADDRESS",
        envvar="WARMWELL_FACE_ADDRESS",
    ),
]  # fmt: skip

#: where the API is, and who vouches for it
At = tuple[str, Path | None, str | None]
#: what a verb does: asked with its context, the API, and what makes the face of its options
Action = Callable[[typer.Context, At, "Callable[[], Face]"], None]


def _serve(ctx: typer.Context, at: At, make: Callable[[], Face]) -> None:
    """Until SIGTERM; with a time in the context each alarm once, so long."""

    def work() -> int:
        from edge.cli import client, face
        from edge.daemon import log

        log.set_up("auto")
        each_s = None if ctx.obj is None else terminal.duration_ms(ctx.obj, "--each") / 1000.0
        return face.serve(client.address(*at), make(), each_s)

    done(work)


def _list(ctx: typer.Context, at: At, make: Callable[[], Face]) -> None:
    def work() -> int:
        from edge.cli import client, face

        return face.points(client.address(*at), make())

    done(work)


@rehearsals.callback()
def _of_rehearsals(
    ctx: typer.Context,
    each: Annotated[str, typer.Option(help="How long each alarm stands; for half as long none does.")] = "10 s",
) -> None:
    """Raise each alarm once for a witness, in the face alone: the station has none of it."""
    ctx.obj = each


def _modbus(act: Action) -> Callable[..., None]:
    def modbus(
        ctx: typer.Context,
        address: Interface,
        places: Places,
        api: Api = DEFAULT_URL,
        ca: Ca = None,
        fingerprint: Fingerprint = None,
        port: Annotated[int, typer.Option(help="TCP port.", min=1, max=65535, envvar="WARMWELL_FACE_PORT")] = 502,
    ) -> None:
        """Modbus TCP: registers, to be read with functions 3 and 4. Every write is refused."""

        def make() -> Face:
            from edge.cli.face import needs
            from edge.faces.places import load

            needs("pymodbus", "modbus")
            from edge.faces.modbus import ModbusFace

            return ModbusFace(load(places), places, address, port)

        act(ctx, (api, ca, fingerprint), make)

    return modbus


def _bacnet(act: Action) -> Callable[..., None]:
    def bacnet(
        ctx: typer.Context,
        address: Interface,
        places: Places,
        device: Annotated[
            int,
            typer.Option(
                help="The device's instance, unique in the building.",
                min=0,
                max=4194302,
                envvar="WARMWELL_FACE_DEVICE",
            ),
        ],
        api: Api = DEFAULT_URL,
        ca: Ca = None,
        fingerprint: Fingerprint = None,
        port: Annotated[int, typer.Option(help="UDP port.", min=1, max=65535, envvar="WARMWELL_FACE_PORT")] = 47808,
    ) -> None:
        """BACnet/IP: points, alarms and the verdict as objects. Every write is refused.

        --address has the bits of its network, such as 192.0.2.14/24.
        """

        def make() -> Face:
            from edge.cli.face import needs
            from edge.faces.places import load

            needs("bacpypes3", "bacnet")
            from edge.faces.bacnet import BacnetFace

            return BacnetFace(load(places), places, address, port, device)

        act(ctx, (api, ca, fingerprint), make)

    return bacnet


#: each face by the name of its verb
_FACES = (_bacnet, _modbus, snmp, sparkplug, syslog)
for _face in _FACES:
    for _under, _act in ((verbs, _serve), (lists, _list), (rehearsals, _serve)):
        _verb = _face(_act)
        _under.command(_verb.__name__)(_verb)
