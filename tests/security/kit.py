"""A station's API with people, in process: the real people's part on a clock that is told, over a judge in memory."""

from __future__ import annotations

import asyncio
import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edge.api import app as api
from edge.api.parts import Parts
from edge.clock import ToldClock
from edge.domain.permits import PersonRole
from edge.people import roster
from edge.people.access import Access
from edge.people.file import PEOPLE_FILE
from edge.people.sessions import AccessRules
from edge.people.store import PeopleStore
from tests.api_fakes import ABOUT, Answer, Fakes, ask

NAMES = {
    "M. Osei": PersonRole.BIOMED,
    "J. Lund": PersonRole.TECHNICIAN,
    "K. Sato": PersonRole.AUDITOR,
    "R. Vale": PersonRole.VIEWER,
}
BIOMED, TECHNICIAN, AUDITOR, VIEWER = NAMES

#: one body of each kind of record that fits its form; who made it is left to the sign-in
RECORDS: dict[str, dict[str, Any]] = {
    "daily_test": {"passed": True}, "water_path_treatment": {"contact_min": 12}, "filter_change": {"filters": ["fine"]},
    "disinfectant_fill": {}, "disinfectant_top_up": {}, "concentration_check": {"passed": True},
    "calibration": {"point": "supply", "points": [{"reference": "50 psi"}], "reference_u": "0.2 psi"},
    "entered_reading": {"point": "supply", "value": "44 psi"}, "outlet_test": {"outlet": "heater", "passed": True}, "hold": {},
    "release": {}, "equipment_change": {}, "service": {"what": "seals"},
    "work_begins": {}, "work_ends": {}, "acknowledge": {"alarm": "reservoir_cold"},
    "reset": {"alarm": "reservoir_cold"}, "shelve": {"alarm": "reservoir_cold", "minutes": 30}, "unshelve": {"alarm": "reservoir_cold"},
    "out_of_service": {"alarm": "reservoir_cold", "why": "mended"}, "in_service": {"alarm": "reservoir_cold"}, "correction": {"of": 3},
    "note": {"text": "x"}, "clock_confirmed": {"time": "2026-03-16T05:50:00Z"},
    "commissioning": {"item": "standpipe", "passed": True},
}  # fmt: skip


@dataclass(frozen=True)
class Signed:
    """A session, as its page holds it."""

    cookie: str
    proof: str


class Site:
    """One station with its people. `codes`: by name."""

    def __init__(self, folder: Path, codes: dict[str, str], rules: AccessRules | None = None) -> None:
        self.folder, self.codes = folder, codes
        self.clock = ToldClock(mono_ms=1_000_000)
        self.fakes = Fakes()
        self.noted: list[dict[str, Any]] = []
        self.begin(rules or AccessRules())

    def begin(self, rules: AccessRules) -> None:
        """The daemon starts, with what is in the folder."""
        self.access = Access(self.folder, self.clock, rules, self._record_of, self._note)
        fakes = self.fakes
        parts = Parts(
            fakes.judge, fakes.journal, fakes.series, ABOUT, fakes.status, people=self.access, head=lambda: {"seq": 0},
            export=lambda *_asked: iter([b"exported"]), report=lambda *_asked: b"told",
        )  # fmt: skip
        self.built = api.build(parts)
        self.app = api.bordered(self.built, "127.0.0.1")
        self.access.look()

    def _record_of(self, seq: int) -> dict[str, Any] | None:
        found = [entry for entry in self.fakes.journal.entries if entry.seq == seq and entry.kind == "record"]
        return dict(found[0].body) if found else None

    def _note(self, kind: str, body: Any) -> None:
        assert kind == "access"
        self.noted.append(dict(body))

    def ask(
        self, method: str, path: str, body: Any = None, who: Signed | None = None, *, token: str = "", proof: str | None = None,
        address: str = "127.0.0.1", scheme: str = "http", **headers: str,
    ) -> Answer:  # fmt: skip
        """One request. `proof`: another than the session's own."""
        sent = {"content-type": "application/json"} if body is not None else {}
        if who is not None:
            sent |= {"cookie": who.cookie, "x-csrf-proof": who.proof if proof is None else proof}
        if token:
            sent["authorization"] = f"Bearer {token}"
        content = None if body is None else json.dumps(body).encode()
        return asyncio.run(ask(self.app, method, path, content, sent | headers, address=address, scheme=scheme))

    def try_code(self, code: str, address: str = "127.0.0.1") -> Answer:
        """Send a code."""
        return self.ask("POST", "/api/1/session", {"code": code}, address=address)

    def sign_in(self, name: str, address: str = "127.0.0.1") -> Signed:
        """Sign somebody in by their code."""
        answer = self.try_code(self.codes[name], address)
        assert answer.status == 200, answer.body
        return Signed(answer.headers["set-cookie"].partition(";")[0], answer.json["csrf"])

    def record(
        self, record: str, who: Signed | None = None, *, by: str | None = None, token: str = "", **keys: Any
    ) -> Answer:
        """Send a record of this kind."""
        body = {"record": record, **RECORDS[record], **({} if by is None else {"by": by}), **keys}
        return self.ask("POST", "/api/1/records", body, who, token=token)

    def journalled(self) -> list[dict[str, Any]]:
        """All `access` entries until now, those under way too."""
        self.access.look(at_end=True)
        return self.noted

    def whats(self) -> list[str]:
        """What they are about, but for how people were set up and signed in."""
        quiet = {"person_added", "signed_in", "token_made"}
        return [body["what"] for body in self.journalled() if body["what"] not in quiet]

    def kept(self) -> int:
        """How many records reached the judge."""
        return len(self.fakes.judge.bodies)


def set_up(folder: Path) -> dict[str, str]:
    """People of every role; their codes."""
    store = PeopleStore(folder)
    codes = {name: roster.add(store, name, role, 1).code for name, role in NAMES.items()}
    store.close()
    return codes


def copied(made: Path, folder: Path) -> Path:
    """People that were set up, in a folder of their own."""
    shutil.copyfile(made / PEOPLE_FILE, folder / PEOPLE_FILE)
    return folder
