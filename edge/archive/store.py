"""The archive in PostgreSQL: batches go in, gaps and receipts come out. One connection, one thread."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from edge.archive.messages import Kept, Place, Unkept, entry_of, without_nul
from edge.archive.summary import Summary, summary_of
from edge.domain.errors import StoreFault

if TYPE_CHECKING:
    from psycopg import Connection
    from psycopg.types.range import Range

#: which programs hear, for pg_try_advisory_lock: one at a time in a database
LOCK: Final = 0x7761726D_77656C6C

_STAGING: Final = """
CREATE TEMP TABLE IF NOT EXISTS inbox (
    site text, station text, mark text, seq bigint, at timestamptz, trusted bool, kind text, digest bytea, message bytea, body jsonb,
    lost_from bigint, lost_to bigint) ON COMMIT DELETE ROWS"""
_COPY: Final = "COPY inbox FROM STDIN"
_NAMES: Final = (
    "INSERT INTO station (site, name) SELECT DISTINCT site, station FROM inbox ON CONFLICT DO NOTHING",
    """
INSERT INTO journal (station, mark) SELECT DISTINCT s.id, i.mark FROM inbox i JOIN station s ON (s.site, s.name) = (i.site, i.station)
ON CONFLICT DO NOTHING""",
)
_JOINED: Final = "inbox i JOIN station s ON (s.site, s.name) = (i.site, i.station) JOIN journal j ON j.station = s.id AND j.mark = i.mark"
# rows in the order of their keys, so that two writers never wait for each other in a circle
_ENTRIES: Final = f"""
WITH new AS (
    INSERT INTO entry (journal, seq, at, trusted, kind, digest, message, body)
    SELECT j.id, i.seq, i.at, i.trusted, i.kind, i.digest, i.message, i.body FROM {_JOINED} ORDER BY 1, 2
    ON CONFLICT DO NOTHING RETURNING journal, seq, at),
ranges AS (SELECT journal, range_agg(int8range(seq, seq + 1)) AS have, max(at) AS last_at FROM new GROUP BY 1 ORDER BY 1),
written AS (
    INSERT INTO heard AS h (journal, have, last_at) SELECT * FROM ranges
    ON CONFLICT (journal) DO UPDATE SET have = h.have + excluded.have, last_at = greatest(h.last_at, excluded.last_at))
SELECT count(*) FROM new"""
_LOST: Final = f"""
UPDATE heard h SET lost = h.lost + l.lost FROM (
    SELECT j.id, range_agg(int8range(i.lost_from, i.lost_to + 1)) AS lost FROM {_JOINED} WHERE i.lost_from IS NOT NULL GROUP BY 1) l
WHERE h.journal = l.id AND NOT l.lost <@ h.lost"""
_CLASHES: Final = f"""
SELECT i.site, i.station, i.mark, i.seq, i.message FROM {_JOINED} JOIN entry e ON (e.journal, e.seq) = (j.id, i.seq)
WHERE e.message <> i.message"""
_ASIDE: Final = "INSERT INTO aside (topic, message, why, is_clash) VALUES (%s, %s, %s, %s) ON CONFLICT DO NOTHING"
#: what nobody need say again: what is there, what the station lost itself, what was set aside is no entry
_WHOLE: Final = "int8multirange(int8range(1, greatest(coalesce(upper(h.have), 1), h.head_seq + 1)))"
_OF_STATIONS: Final = f"""
SELECT s.site, s.name, j.mark, h.have + h.lost, {_WHOLE} - (h.have + h.lost), greatest(coalesce(upper(h.have), 1) - 1, h.head_seq),
    h.last_at, h.verified_seq, h.misfit
FROM heard h JOIN journal j ON j.id = h.journal JOIN station s ON s.id = j.station
WHERE (%(site)s = '' OR s.site = %(site)s) AND (%(newest)s = false OR j.id = (SELECT max(id) FROM journal o WHERE o.station = s.id))
ORDER BY s.site, s.name, j.id"""


_SUMMED: Final = (
    f"UPDATE summary SET ({', '.join(Summary._fields)}) = ({', '.join(['%s'] * len(Summary._fields))}),"
    " is_silent = %s <= now() WHERE station = %s"
)


class Message(NamedTuple):
    """One that came by MQTT, or from a folder."""

    topic: str
    place: Place
    payload: bytes


class Put(NamedTuple):
    """What became of a batch."""

    new: int = 0
    again: int = 0
    aside: int = 0
    clashes: int = 0

    def plus(self, other: Put) -> Put:
        """Both together."""
        return Put(*(one + more for one, more in zip(self, other, strict=True)))


class Held(NamedTuple):
    """What is there of one journal. Ranges have both ends in them."""

    site: str
    station: str
    journal: str
    have: list[tuple[int, int]]  # with what the station says that it lost
    gaps: list[tuple[int, int]]
    last_seq: int
    last_at: Any
    verified_seq: int
    misfit: str | None


@contextlib.contextmanager
def in_trouble() -> Iterator[None]:
    """What the database's driver raises becomes one sentence.

    Raises:
        StoreFault: the database can't be reached, or refuses.
    """
    import psycopg

    try:
        yield
    except psycopg.Error as exc:
        why = " ".join(str(exc).split()) or type(exc).__name__
        raise StoreFault(
            f"it can't be used ({why[:300]})", where="the archive's database", expected="a PostgreSQL server that lets this user in",
            do="See that it runs and that address, user, password and rights are right; what came meanwhile is kept by broker and stations",
        ) from exc  # fmt: skip


def connect(dsn: str, *, reads_only: bool = False) -> Connection[Any]:
    """A connection to the database that commits where it is told to; `reads_only`: the server refuses whatever writes. Raises
    StoreFault."""
    import psycopg

    options = (
        "-c statement_timeout=5000 -c default_transaction_read_only=on" if reads_only else "-c statement_timeout=60000"
    )
    with in_trouble():
        return psycopg.connect(
            dsn, autocommit=True, connect_timeout=5, options=f"{options} -c client_min_messages=warning",
            application_name="warmwell archive", keepalives_idle=10, keepalives_interval=5, keepalives_count=3, tcp_user_timeout=20_000,
        )  # fmt: skip


class Store:
    """Used by one thread."""

    def __init__(self, db: Connection[Any]) -> None:
        self._db = db

    def lock(self) -> bool:
        """Become the one who hears; False where another is. The connection's end gives it up."""
        row = self._db.execute("SELECT pg_try_advisory_lock(%s)", (LOCK,)).fetchone()
        return bool(row and row[0])

    # ---- in

    def put(self, batch: Sequence[Message]) -> Put:
        """Keep a batch, in one transaction; where that can't be, one by one, and what then can't be is set aside.

        Raises:
            psycopg.OperationalError, psycopg.InterfaceError: the database is away; nothing of it is kept, nothing may be acknowledged.
        """
        import psycopg

        kept, aside = [], []
        for message in batch:
            try:
                kept.append((message, entry_of(message.place, message.payload)))
            except Unkept as exc:
                aside.append((message, str(exc)))
        try:
            done = self._write([entry for _message, entry in kept])
        except (psycopg.OperationalError, psycopg.InterfaceError):
            raise
        except psycopg.Error:
            done = Put()
            for message, entry in kept:
                try:
                    done = done.plus(self._one(entry))
                except (psycopg.OperationalError, psycopg.InterfaceError):
                    raise
                except psycopg.Error as exc:
                    aside.append((message, f"the database refuses it ({' '.join(str(exc).split())[:200]})"))
        for message, why in aside:
            self._db.execute(_ASIDE, (_plain(message.topic), message.payload, _plain(why), False))
        return done.plus(Put(aside=len(aside)))

    def _one(self, entry: Kept) -> Put:
        """One entry by itself: its body as well where the database takes that, else its bytes alone."""
        import psycopg

        try:
            return self._write([entry])
        except (psycopg.OperationalError, psycopg.InterfaceError):
            raise
        except psycopg.Error:
            return self._write([entry._replace(body=None)])

    def _write(self, entries: Sequence[Kept]) -> Put:
        if not entries:
            return Put()
        with self._db.transaction(), self._db.cursor() as cursor:
            cursor.execute(_STAGING)
            with cursor.copy(_COPY) as copy:
                for entry in entries:
                    copy.write_row((*entry[:-1], *(entry.lost or (None, None))))
            for names in _NAMES:
                cursor.execute(names)
            row = cursor.execute(_ENTRIES).fetchone()
            new = int(row[0]) if row else 0
            if any(entry.lost for entry in entries):
                cursor.execute(_LOST)
            clashes = cursor.execute(_CLASHES).fetchall() if new < len(entries) else []
            for site, station, mark, seq, message in clashes:
                why = f"entry {seq} of journal {mark} is there with other bytes: two stations under one name, or somebody made it up"
                cursor.execute(_ASIDE, (f"{site}/{station}", message, why, True))
        return Put(new, len(entries) - new - len(clashes), 0, len(clashes))

    def note(self, place: Place, message: bytes, head: tuple[str, int, str] | None = None) -> None:
        """Remember what one retained topic says, as note_all()."""
        self.note_all([(place, message, head)])

    def note_all(self, said: Sequence[tuple[Place, bytes, tuple[str, int, str] | None]]) -> None:
        """Remember what retained topics say, and sum their stations up anew, in one transaction.

        Args:
            said: each with the journal that a `head` is the end of, its seq and digest. Rows are written in the order of their keys.
        """
        said = sorted(said, key=lambda one: one[0])
        stations = sorted({place[:2] for place, _, _ in said})
        with self._db.transaction(), self._db.cursor() as cursor:
            cursor.executemany("INSERT INTO station (site, name) VALUES (%s, %s) ON CONFLICT DO NOTHING", stations)
            cursor.executemany(
                "INSERT INTO said (station, topic, message) SELECT id, %s, %s FROM station WHERE (site, name) = (%s, %s)"
                " ON CONFLICT (station, topic) DO UPDATE SET message = excluded.message, at = now()",
                [(_plain(place.what), message, *place[:2]) for place, message, _ in said],
            )
            for place, _, head in said:
                if head is not None:
                    self._note_head(place, *head)
            self._sum_up(stations)

    def _note_head(self, place: Place, mark: str, seq: int, digest: str) -> None:
        of_journal = "SELECT j.id FROM journal j JOIN station s ON s.id = j.station WHERE (s.site, s.name, j.mark) = (%s, %s, %s)"
        self._db.execute(
            "INSERT INTO journal (station, mark) SELECT id, %s FROM station WHERE (site, name) = (%s, %s) ON CONFLICT DO NOTHING",
            (mark, *place[:2]),
        )
        self._db.execute(
            f"INSERT INTO heard AS h (journal, head_seq, head_digest) VALUES (({of_journal}), %s, %s)"
            " ON CONFLICT (journal) DO UPDATE SET head_seq = excluded.head_seq, head_digest = excluded.head_digest"
            " WHERE h.head_seq < excluded.head_seq",
            (*place[:2], mark, seq, bytes.fromhex(digest)),
        )

    def _sum_up(self, stations: Sequence[tuple[str, str]]) -> None:
        """What the list of the fleet tells of these stations, out of all that they have said."""
        sites, names = [site for site, _ in stations], [name for _, name in stations]
        rows = self._db.execute(
            "SELECT d.station, d.topic, d.message, d.at FROM said d JOIN station s ON s.id = d.station"
            " JOIN unnest(%s::text[], %s::text[]) n (site, name) ON (s.site, s.name) = (n.site, n.name) ORDER BY 1",
            (sites, names),
        )
        found: dict[int, dict[str, tuple[bytes, datetime]]] = {}
        for station, topic, message, at in rows:
            found.setdefault(station, {})[topic] = bytes(message), at
        with self._db.cursor() as cursor:
            cursor.executemany(
                _SUMMED,
                [(*one, one.silent_at, station) for station, said in found.items() if (one := summary_of(said))],
            )

    def fall_silent(self) -> None:
        """Whoever wasn't heard for its bound is silent from now on."""
        self._db.execute("UPDATE summary SET is_silent = true WHERE NOT is_silent AND silent_at <= now()")

    # ---- out

    def held(self, *, newest: bool, site: str = "") -> list[Held]:
        """What is there, by journal; `newest`: only of each station's newest."""
        rows = self._db.execute(_OF_STATIONS, {"site": site, "newest": newest}).fetchall()
        return [
            Held(site, station, mark, _pairs(have), _pairs(gaps), last_seq, last_at, verified_seq, misfit)
            for site, station, mark, have, gaps, last_seq, last_at, verified_seq, misfit in rows
        ]

    def holds_up_to(self, site: str, station: str, mark: str) -> tuple[int, bytes | None]:
        """Up to which entry all of a journal is there (or was lost by the station itself), and that entry's digest; (0, None): none."""
        of_journal = "SELECT j.id FROM journal j JOIN station s ON s.id = j.station WHERE (s.site, s.name, j.mark) = (%s, %s, %s)"
        row = self._db.execute(
            "SELECT e.seq, e.digest FROM heard h, unnest(h.have + h.lost) WITH ORDINALITY AS first (range, number)"
            f" JOIN entry e ON e.seq = upper(first.range) - 1 WHERE h.journal = ({of_journal}) AND e.journal = h.journal"
            " AND first.number = 1 AND lower(first.range) = 1",
            (site, station, mark),
        ).fetchone()
        return (int(row[0]), bytes(row[1])) if row else (0, None)

    def last_said(self) -> dict[tuple[str, str], dict[str, tuple[bytes, Any]]]:
        """By station: the newest message of node, head and verdict, and when it came."""
        rows = self._db.execute(
            "SELECT s.site, s.name, d.topic, d.message, d.at FROM said d JOIN station s ON s.id = d.station"
            " WHERE d.topic IN ('node', 'head', 'verdict') ORDER BY 1, 2"
        )
        found: dict[tuple[str, str], dict[str, tuple[bytes, Any]]] = {}
        for site, name, topic, message, at in rows:
            found.setdefault((site, name), {})[topic] = bytes(message), at
        return found

    def set_aside(self) -> tuple[int, int]:
        """How many messages were set aside, and how many of them clash with an entry that is there."""
        row = self._db.execute("SELECT count(*), count(*) FILTER (WHERE is_clash) FROM aside").fetchone()
        return (int(row[0]), int(row[1])) if row else (0, 0)


def _plain(text: str) -> str:
    """Text for a column of what people read."""
    return without_nul(text)[:1000]


def _pairs(multirange: Sequence[Range[int]]) -> list[tuple[int, int]]:
    return [(one.lower, one.upper - 1) for one in multirange if one.lower is not None and one.upper is not None]
