"""The shapes that only MQTT has; those of pictures and entries are in edge/snapshot.py and edge/domain/entry_bodies.py."""

# No postponed annotations here: which keys are required is asked at run time, and texts wouldn't tell.

from typing import TypedDict

from edge.domain.entries import EntryJson, SignedHead
from edge.domain.vocabulary import Digest, JournalMark, NodeWord, Time


class NodeMessage(TypedDict):
    """The station itself, and whether it is connected: `lost` is said by the broker for a station that has fallen silent."""

    site: str
    station: str
    state: NodeWord
    at: Time | None  # when the word was said; null in `lost`
    connected_at: Time
    trusted: bool  # the station's clock
    boot: str  # the run of the board
    software: str  # version of the program
    title: str
    timezone: str  # IANA name
    simulated: bool  # its readings are made up, or its clock is
    journal: JournalMark | None  # null before the first entry


class HeadMessage(TypedDict):
    """The end of the journal: with it an archive sees what it lacks, and that nothing was changed."""

    seq: int  # of the last entry
    digest: Digest  # of that entry, over all before it
    journal: JournalMark | None
    signed: SignedHead | None  # the newest that the station has signed: it may be a day old; null before the first


class EntryMessage(EntryJson):
    """An entry of the journal. It never changes: what comes again is the same, byte for byte."""

    site: str
    station: str
    journal: JournalMark | None  # a new one begins where the board's card was replaced
    digest: Digest  # of this entry, over all before it; hashed with `site/station` as its station


class ReceiptMessage(TypedDict):
    """What an archive has of a station's journal. It is no order: what it lacks is said again, and nothing else changes by it."""

    journal: JournalMark  # of which it is; any other than the station's is passed over
    have: list[
        list[int]
    ]  # at most 100 ranges of `seq`, each [from, to], in order, with gaps between: what need not be said again
    at: Time  # when the archive wrote it


class Fresh(TypedDict):
    """What each retained message has beside its own; the words `stopped` and `lost` of a node lack it: they hold until it comes back."""

    fresh_until: Time  # where it isn't said again by then, what it says holds no more
