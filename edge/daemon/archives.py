"""Whether an archive that is expected says nothing any more: what the station's alarm `archive_silent` says of it."""

from __future__ import annotations

from edge.daemon.part import Part
from edge.domain.entries import wall_ms_of
from edge.domain.messages import Message, moment, name, parts, say


def silent(mqtt: Part | None) -> Message | None:
    """Which archives are silent, and since when; None while all that are expected say what they have."""
    if mqtt is None:
        return None
    found = [
        say("alarm.archive_silent.never", archive=name(ident))
        if said["heard"] is None
        else say("alarm.archive_silent.last", archive=name(ident), at=moment(wall_ms_of(said["heard"])))
        for ident, said in mqtt.status().get("archives", {}).items()
        if said["silent"]
    ]
    return say("alarm.archive_silent.which", which=parts(found)) if found else None
