"""What a station file plans beside the station's settings: its buses, the broker, the page and the store."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from edge.domain.settings import Settings
from edge.hosts import is_loopback

#: where the page listens if the file says nothing
API_HOST: Final = "127.0.0.1"
API_PORT: Final = 8484


#: an own certificate's and key's file in the [keep] folder
OWN_CERTIFICATE: Final = "page-certificate.pem"
OWN_KEY: Final = "page-key.pem"


@dataclass(frozen=True, slots=True)
class BusPlan:
    """One bus, for acquisition: its table and its points' tables as written.

    `active` is False where this version has no adapter for its kind: it isn't opened then, and its points stay unread.
    """

    id: str
    kind: str
    options: Mapping[str, Any]
    points: Mapping[str, Mapping[str, Any]]
    active: bool = True
    period_ms: int = 1000  # the shortest of its points
    time_limit_ms: int | None = None  # of one read; None: acquisition's own


@dataclass(frozen=True, slots=True)
class TlsPlan:
    """Certificates, as paths beside the station file or absolute. `ca` None: the system's own list."""

    ca: Path | None = None
    certificate: Path | None = None
    key: Path | None = None


@dataclass(frozen=True, slots=True)
class MqttPlan:
    """The broker."""

    host: str
    port: int
    tls: TlsPlan | None = None
    username: str | None = None
    password_file: Path | None = None
    client_id: str | None = None
    keepalive_s: int = 30
    archives: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PageTlsPlan:
    """The page's certificate and its key. `is_own`: kept in the [keep] folder, made by Warmwell; `names`: what it is to be for."""

    certificate: Path
    key: Path
    is_own: bool
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ApiPlan:
    """Where the page listens: beyond this machine only with TLS, and once somebody can sign in. Port 0: any free one."""

    host: str = API_HOST
    port: int = API_PORT
    tls: PageTlsPlan | None = None
    people: Path | None = None
    room: Path | None = None

    @property
    def on_network(self) -> bool:
        """Can others than this computer reach the page?"""
        return not is_loopback(self.host)


@dataclass(frozen=True, slots=True)
class PeoplePlan:
    """When sessions end, and what may be seen without one."""

    idle_ms: int = 600_000
    longest_ms: int = 43_200_000
    is_looking_open: bool = True
    are_names_open: bool = False


@dataclass(frozen=True, slots=True)
class SyslogPlan:
    """A syslog receiver. `how`: udp, tcp, tls or unix; `host` is the path of a unix socket; `tls` is there with tls."""

    how: str
    host: str
    port: int
    facility: str
    enterprise: int
    tls: TlsPlan | None = None


@dataclass(frozen=True, slots=True)
class TargetPlan:
    """One target, with either `url_file` or `syslog`. `outside_hours`: the least priority told at once while the station is closed."""

    id: str
    url_file: Path | None
    syslog: SyslogPlan | None
    priority: str
    outside_hours: str
    longest_wait_ms: int


@dataclass(frozen=True, slots=True)
class TellPlan:
    """Who is told away from the page. `daily_test_min`: minutes after local midnight; None: no test notice."""

    targets: tuple[TargetPlan, ...]
    summary_after_ms: int
    longest_pause_s: float
    daily_test_min: int | None


@dataclass(frozen=True, slots=True)
class OutputPlan:
    """A lamp, buzzer or relay. `shows`: announced, not_ready, alive or pulse."""

    id: str
    chip: str
    chip_label: str
    line: int | str
    active: str
    shows: str
    priority: str


@dataclass(frozen=True, slots=True)
class KeepPlan:
    """Where the store is, and how long each tier of readings stays (None: for ever). The journal always stays; so many of its oldest
    entries go into a closed segment. `timestamp_url`: who stamps the signed head (None: nobody), and the file of who vouches for that."""

    folder: Path
    raw_ms: int | None
    minutes_ms: int | None
    hours_ms: int | None = None
    size_bytes: int | None = None
    segment_entries: int = 25_000
    timestamp_url: str | None = None
    timestamp_ca: Path | None = None


@dataclass(frozen=True, slots=True)
class BackupPlan:
    """Where the station backs itself up, how often, and after how long without one it says so."""

    folder: Path
    every_ms: int
    overdue_ms: int


@dataclass(frozen=True, slots=True)
class ReportsPlan:
    """Into which folder each day is told, in which forms ("html", "pdf") and language, and for how many days that is kept; and the file
    with the address to which it is sent; None: it isn't."""

    folder: Path
    forms: tuple[str, ...]
    keep_days: int
    language: str
    send: Path | None = None


@dataclass(frozen=True, slots=True)
class StationFile:
    """A station file that can be used.

    `document` is the whole as written, in plain JSON; `digest` the SHA-256 of its RFC 8785 form; `warnings` sentences with file and
    line, of which `never_ready` are those with which no station gets READY; `not_active` sentences on what this version checks but
    doesn't do yet.
    """

    path: Path
    settings: Settings
    buses: tuple[BusPlan, ...]
    mqtt: MqttPlan | None
    api: ApiPlan
    keep: KeepPlan
    document: dict[str, Any]
    digest: str
    warnings: tuple[str, ...] = ()
    never_ready: tuple[str, ...] = ()
    not_active: tuple[str, ...] = field(default=())
    tell: TellPlan | None = None
    outputs: tuple[OutputPlan, ...] = ()
    people: PeoplePlan = PeoplePlan()
    backup: BackupPlan | None = None
    reports: ReportsPlan | None = None
