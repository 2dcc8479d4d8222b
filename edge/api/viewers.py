"""Pictures and entries as somebody reads them: in a language, and in units of his own.

What a station tells stands there as ids and values beside its English (`msg` beside the main text, `advice_msg` beside `advice`); from
these it is said anew. A picture is said once for each language and set of units, and shared by all who ask for these; who asks for neither
gets it as it is. Never in the judge's thread.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import UTC, tzinfo
from threading import Lock
from typing import Any, Final, NamedTuple, cast

from edge.domain.messages import of_kept
from edge.domain.quantities import from_kind
from edge.domain.readings import KIND_OF, Kind, Role
from edge.domain.words.english import EN
from edge.domain.words.language import Language
from edge.domain.words.languages import LANGUAGES
from edge.domain.words.saying import Words
from edge.domain.words.units import Chosen, Units
from edge.snapshot import Snapshot

#: pictures are kept for so many viewers, those that asked last
MOST_VIEWERS: Final = 24
#: members of a shape that can be its main text, the first that is there
_MAIN: Final = ("text", "cause", "what", "why")
#: members of an entry's body that are texts
_TEXTS: Final = ("text", "cause", "advice", "why", "why_not", "owed")


class Viewer(NamedTuple):
    """Somebody's language, by its tag, and units. `has_forms`: reads beside forms, and no ids of records and keys."""

    language: str = EN.code
    units: Chosen = Chosen()
    has_forms: bool = False


#: what is said as it stands: English, in the station's units
AS_IT_IS: Final = Viewer()


class Viewers:
    """Pictures in the words of each viewer. Any thread but the judge's.

    Args:
        zone: where the clock on the station's wall is set.
        languages: by their tags.
    """

    def __init__(self, zone: tzinfo = UTC, languages: Mapping[str, Language] = LANGUAGES) -> None:
        self._zone, self._languages, self._lock = zone, languages, Lock()
        self._kept: OrderedDict[Viewer, _Picture] = OrderedDict()

    def words(self, viewer: Viewer, snapshot: Snapshot) -> Words:
        """How a viewer reads what the station of this picture tells."""
        units = None if snapshot.units is None else snapshot.units.read_in(viewer.units)
        return Words(units, self._zone, self._languages[viewer.language], has_forms=viewer.has_forms)

    def picture(self, viewer: Viewer, snapshot: Snapshot) -> Snapshot:
        """A picture as a viewer reads it; made once for this viewer, whoever asks for it."""
        if viewer == AS_IT_IS:
            return snapshot
        with self._lock:
            kept = self._kept.pop(viewer, None)
            if kept is None or kept.version != snapshot.version:
                kept = _Picture(self.words(viewer, snapshot), viewer.units, snapshot, kept)
            self._kept[viewer] = kept
            if len(self._kept) > MOST_VIEWERS:
                self._kept.popitem(last=False)
            return kept.said

    def entries(self, viewer: Viewer, snapshot: Snapshot, shapes: Iterator[dict[str, Any]]) -> Iterator[dict[str, Any]]:
        """Entries of the journal as a viewer reads them. Texts that were kept without their message stand as they were kept: `as_kept`
        names them."""
        if viewer == AS_IT_IS:
            return shapes
        words = self.words(viewer, snapshot)
        return (_entry(shape, words) for shape in shapes)


class _Picture:
    """One picture in one viewer's words. `before`: the same viewer's last one; texts whose message stands as it did are taken from it."""

    def __init__(self, words: Words, chosen: Chosen, snapshot: Snapshot, before: _Picture | None) -> None:
        self.version, self._words, self._chosen = snapshot.version, words, chosen
        self._units: Units | None = snapshot.units
        is_alike = before is not None and before._units is snapshot.units
        self._before = before._texts if before is not None and is_alike else {}
        self._texts: dict[int, tuple[object, str]] = {}  # by identity of a message's form, which is held as long
        self.said = replace(
            snapshot,
            verdict=self._verdict(snapshot.verdict),
            points={ident: self._point(point) for ident, point in snapshot.points.items()},
            alarms={ident: self._alarm(alarm) for ident, alarm in snapshot.alarms.items()},
            estimates={ident: self._anew(one) for ident, one in snapshot.estimates.items()},
        )
        self._before = {}

    def _text(self, form: object, kept: object) -> str:
        found = self._texts.get(id(form)) or self._before.get(id(form))
        if found is None or found[0] is not form:
            found = (form, self._words.text(of_kept(form, kept)))
        self._texts[id(form)] = found
        return found[1]

    def _anew(self, shape: Mapping[str, Any]) -> Any:
        return {**shape, **{name: said for name, said, _ in said_anew(shape, self._text)}}

    def _verdict(self, verdict: Mapping[str, Any]) -> Any:
        conditions = [self._anew(condition) for condition in verdict.get("conditions", ())]
        basins = {"verdicts": [self._anew(one) for one in verdict["verdicts"]]} if "verdicts" in verdict else {}
        return {**self._anew(verdict), "conditions": conditions, **basins}

    def _alarm(self, alarm: Mapping[str, Any]) -> Any:
        duty = alarm.get("duty")
        return self._anew(alarm) | ({} if duty is None else {"duty": self._anew(duty)})

    def _point(self, point: Mapping[str, Any]) -> Any:
        return {**self._anew(point), "shown": self._shown(point)}

    def _shown(self, point: Mapping[str, Any]) -> Any:
        shown, kind = point.get("shown"), KIND_OF[Role(point["role"])]
        if shown is None:
            return None
        if kind is Kind.CONTACT:
            return {**shown, "value": self._words.language.titled("contact", str(shown["value"]))}
        if not self._chosen.of(kind):
            return shown
        unit = self._chosen.of(kind) if self._units is None else self._units.read_in(self._chosen).of(kind, point["id"])
        return {"value": round(from_kind(point["value"], unit, kind), 4), "unit": unit}


def said_anew(shape: Mapping[str, Any], text: Any) -> Iterator[tuple[str, Any, str]]:
    """(member, said anew, the member with its message) of each text of a shape beside which its message stands."""
    for member, form in shape.items():
        if member == "msg":
            name = next((name for name in _MAIN if name in shape), "")
        elif member == "msgs":
            name = "why" if "why" in shape else "owed"
        elif member.endswith(("_msg", "_msgs")):
            name = member.rpartition("_")[0]
        else:
            continue
        kept = shape.get(name)
        if not kept or not form:
            continue
        if isinstance(kept, Mapping) and isinstance(form, Mapping):
            yield name, {key: text(form[key], one) if key in form else one for key, one in kept.items()}, member
        elif isinstance(kept, str):
            yield name, text(form, kept), member
        elif isinstance(form, list) and len(form) == len(kept):
            yield name, [text(each, one) for each, one in zip(form, kept, strict=True)], member


def _entry(shape: dict[str, Any], words: Words) -> dict[str, Any]:
    body = cast(Mapping[str, Any], shape["body"])
    anew = {name: said for name, said, _ in said_anew(body, lambda form, kept: words.text(of_kept(form, kept)))}
    return {
        **shape,
        "body": {**body, **anew},
        "language": words.language.code,
        "as_kept": [name for name in _TEXTS if body.get(name) and name not in anew],
    }
