"""Where a target's place is kept: what changes is on disk at once, what has only moved on now and then."""

from __future__ import annotations

import json
from pathlib import Path

from edge.telling.place import LAZY_S, FilePlace


def test_a_place_that_has_only_moved_on_is_kept_now_and_then_and_every_other_change_at_once(tmp_path: Path) -> None:
    now_s, file = [1000.0], tmp_path / "tell-phone.json"
    place = FilePlace(file, "j1", lambda: now_s[0])

    def kept() -> dict[str, object]:
        found: dict[str, object] = json.loads(file.read_text())["place"]
        return found

    place.save({"seq": 1, "tries": 0}, lazily=True)
    place.save({"seq": 2, "tries": 0}, lazily=True)
    assert kept() == {"seq": 1, "tries": 0}
    place.save({"seq": 3, "tries": 1}, lazily=True)
    assert kept() == {"seq": 3, "tries": 1}
    place.save({"seq": 4, "tries": 1}, lazily=True)
    now_s[0] += LAZY_S
    place.save({"seq": 5, "tries": 1}, lazily=True)
    assert kept() == {"seq": 5, "tries": 1}
    place.save({"seq": 6, "tries": 1})
    assert FilePlace(file, "j1").load() == {"seq": 6, "tries": 1}
    assert FilePlace(file, "j2").load() is None
