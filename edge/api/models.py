"""The shapes of the answers, for OpenAPI and for whoever generates a client. Further fields may be added at any time."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

VerdictWord = Literal["ready", "not_ready", "unknown"]
DisplayWord = Literal["ready", "in_use", "reheating", "not_ready", "cant_tell", "at_rest"]
Quality = Literal["good", "uncertain", "bad"]
PersonRole = Literal["viewer", "technician", "biomed", "auditor"]
Time = str | None  # RFC 3339 UTC with milliseconds


class Shape(BaseModel):
    """Base of the shapes."""

    model_config = ConfigDict(extra="allow", defer_build=True)


class Problem(Shape):
    """A refusal (RFC 9457). `detail` is one sentence: where, what, what was expected, what to do."""

    type: str
    title: str
    status: int
    detail: str
    instance: str
    what: str
    where: str
    expected: str
    do: str


class Words(Shape):
    """Names for people, by what they name; of an id with ':' the name is that of what stands before it."""

    roles: dict[str, str]
    contacts: dict[str, tuple[str, str]] = Field(description="by role, for 0 and for 1")
    conditions: dict[str, str]
    condition_states: dict[str, str]
    phases: dict[str, str]
    alarms: dict[str, str]
    alarm_states: dict[str, str]
    displays: dict[str, str] = Field(description="by `display` of the verdict")
    priorities: dict[str, str]
    records: dict[str, str]
    reasons: dict[str, str] = Field(description="why a reading is not good")


class Language(Shape):
    """A language that can be asked for."""

    name: str = Field(description="what those who speak it call it")
    reviewed: bool


class Station(Shape):
    """Which station this is."""

    site: str
    station: str
    title: str
    timezone: str = Field(description="IANA name; a date in a request is understood in it")
    version: str
    people: Literal["none", "set_up", "unreadable"] = Field(
        description="whether people have to sign in to record; none: nobody is set up"
    )
    room: bool = Field(description="whether it knows of the other stations of its computer: /api/1/room")
    speed: float = Field(description="how much faster than real time its clock runs; 1 but in demos")
    words: Words
    items: dict[str, str] = Field(description="titles of its commissioning list, by the whole id")
    language: str = Field(description="of `words`")
    reviewed: bool = Field(description="false: an unreviewed translation, to be shown as such")
    languages: dict[str, Language] = Field(description="that can be asked for with `lang`, by their tags")
    units: dict[str, list[str]] = Field(description="that can be asked for with `units`, by what they measure")


class MessageValue(Shape):
    """One value of a message.

    `kind`: a kind of reading, its difference, duration, ago, left, moment, number, name, text, message or list.
    """

    kind: str
    value: Any = Field(description="in `unit`; a moment is RFC 3339; a message or null; a list of values")
    unit: str
    point: str | None = Field(None, description="the point in whose unit the station's people read it")


class Message(Shape):
    """What a text says, without words: an id that keeps its meaning, and named values."""

    id: str
    values: dict[str, MessageValue]


class Condition(Shape):
    """One requirement of readiness."""

    id: str
    state: Literal["met", "unmet", "unknown", "by_eye"]
    text: str
    since: Time = None
    expected_at: Time = None
    evidence: Any = None
    msg: Message
    value: float | None = Field(None, description="what was measured, in `unit`")
    limit: float | None = Field(None, description="what it is held against")
    unit: str | None = None
    probability: float | None = Field(None, description="that what is asked for is truly so; null if uncalibrated")


class AnsweredBy(Shape):
    """A record that answers what the station waits for."""

    record: str
    keys: dict[str, str] = Field(
        description="what its form is given already: basin, filters, outlet, point, role, duty"
    )


class RoomStation(Shape):
    """Another station of this computer, as it told of itself."""

    site: str
    station: str
    title: str
    scheme: Literal["http", "https"] | None = Field(description="of its page")
    port: int | None = Field(description="of its page, on this computer; null: not known")
    heard: bool = Field(description="it told within the last ten seconds")
    stopped: bool = Field(description="it was stopped on request")
    verdict: VerdictWord
    display: DisplayWord
    expected_at: Time = None
    first: str | None = Field(description="what to do first; null: nothing, or it isn't heard")


class Room(Shape):
    """The other stations of this computer; none where the station file names no room."""

    stations: list[RoomStation]


class BasinVerdict(Shape):
    """May one of several basins start? It rests on what all share and on what is its own."""

    basin: str = Field(description="its id in the station file")
    verdict: VerdictWord
    display: DisplayWord
    expected_at: Time = None
    earliest: Time = None
    latest: Time = None
    waits_for: list[str]
    waits_for_msgs: list[Message]
    conditions: list[str] = Field(description="ids of the conditions that it rests on")


class Verdict(Shape):
    """May the station start? Both `not_ready` and `unknown` mean: don't. Surroundings only."""

    at: str
    trusted: bool
    site: str
    station: str
    verdict: VerdictWord
    display: DisplayWord = Field(
        description="the word for people: in_use and reheating where nobody has to do anything"
    )
    phase: str | None = None
    expected_at: Time = None
    earliest: Time = None
    latest: Time = None
    waits_for: list[str]
    conditions: list[Condition]
    note: str | None = None
    waits_for_msgs: list[Message] = Field(description="of `waits_for`, in the same order")
    answers: list[list[AnsweredBy]] = Field(
        [], description="the records that answer each of `waits_for`, in the same order; of some things none"
    )
    note_msg: Message
    verdicts: list[BasinVerdict] = Field([], description="of each basin, where the station file has several")
    seq: int = Field(description="highest entry of the journal that it takes into account")
    quiet_s: float = Field(description="for how long the judge has not renewed it")


class Shown(Shape):
    """A value in the unit of the station file, or that was asked for."""

    value: float | str | None
    unit: str


class Correction(Shape):
    """The calibration in force: a stored reading y is shown as gain y + offset. `u_parts`: its standard uncertainty, part by part."""

    gain: float
    offset: float
    due_at: str
    at: str = ""
    u_parts: dict[str, float] = {}


class Point(Shape):
    """One measured quantity. Without a value that may be shown, `value` is null and quality and reason say why."""

    id: str
    role: str
    of: str | None = None
    value: float | None
    unit: str
    quality: Quality
    reason: str | None = None
    advice: str | None = None
    detail: str = ""
    text: str | None = None
    at: Time = None
    age_s: float | None = None
    stale_after_s: float | None = None
    u: float | None = None
    calibrated: bool = False
    correction: Correction | None = None
    uncorrected: float | None = None
    errors: int = 0
    shown: Shown | None = None
    msg: Message | None = Field(None, description="of `text`")
    advice_msg: Message | None = None


class Points(Shape):
    """All points, by id."""

    at: str
    trusted: bool
    points: dict[str, Point]


class Bucket(Shape):
    """Readings of a stretch of time. Nothing kept: n is 0, and min, mean and max are null, never zero."""

    from_: str = Field(alias="from")
    to: str
    n: int
    min: float | None
    mean: float | None
    max: float | None
    quality: Quality = Field(description="the worst in it; bad where there is nothing")
    reason: str | None = Field(
        None, description="where there is no value: of the newest bad reading, or bad; no_reading where there was none"
    )
    covered: float | None = Field(None, description="share of the time that readings stand for, 0 to 1")
    volume_l: float | None = Field(None, description="flows only: litres, null where nothing stood")


class Readings(Shape):
    """Readings thinned to buckets. `from` and `to` are the instants that were understood."""

    point: str
    unit: str
    from_: str = Field(alias="from")
    to: str
    correction: Correction | None = None
    buckets: list[Bucket]


class TrendOfPoint(Shape):
    """One point's buckets as columns. Nothing kept: min, mean and max are null, never zero."""

    unit: str
    min: list[float | None]
    mean: list[float | None]
    max: list[float | None]
    quality: str = Field(description="a letter a bucket, the worst in it: g(ood), u(ncertain), b(ad), - (no reading)")
    reason: list[str | None] = Field(
        description="of a bucket without a value, why its newest bad reading was bad; no items where there is none such"
    )
    covered: list[float] = Field(description="share of each bucket that readings stand for, 0 to 1")


class Trends(Shape):
    """Points over the same buckets: `n` of `width_s` seconds each, the first of which begins at `from`."""

    from_: str = Field(alias="from")
    width_s: float
    n: int
    points: dict[str, TrendOfPoint]


class WordSpan(Shape):
    """A stretch and the words for people that it had, each with its share of it; what is missing of 1 is not known."""

    from_: str = Field(alias="from")
    to: str
    shares: dict[str, float]


class AlarmSpan(Shape):
    """An alarm whose cause was there; `to` null: it is."""

    id: str
    priority: str
    from_: str = Field(alias="from")
    to: Time = None


class DrawSpan(Shape):
    """A draw of water, with the normalised drop of each filter that it showed [kPa]."""

    from_: str = Field(alias="from")
    to: str
    volume_l: float | None = None
    drops_kpa: dict[str, float]


class FilterDay(Shape):
    """A filter's mean normalised drop of a day that ended at about `at`."""

    at: str
    filter: str
    drop_kpa: float


class History(Shape):
    """What happened in a span of time."""

    from_: str = Field(alias="from")
    to: str
    verdict: list[WordSpan]
    alarms: list[AlarmSpan] = Field(description="the most urgent first, then the longest")
    more_alarms: int = Field(description="how many were left out")
    draws: list[DrawSpan]
    more_draws: int = Field(description="how many there were, where there are too many to tell")
    filter_days: list[FilterDay]


class Duty(Shape):
    """What people did last, and when it is due again."""

    done_at: Time = None
    by: str | None = None
    seq: int | None = Field(None, description="the entry of its record")
    due_at: Time = None
    text: str
    msg: Message


class Alarm(Shape):
    """One alarm that this station can raise, also when normal."""

    id: str
    state: str
    active: bool
    announced: bool
    priority: str
    since: Time = None
    since_at_latest: bool = Field(False, description="it may have begun before: nothing was known of it until then")
    point: str | None = None
    value: float | None = None
    unit: str | None = None
    limit: float | None = None
    cause: str | None = None
    consequence: str | None = None
    response: str | None = None
    respond_within_s: float | None = None
    latching: bool = Field(False, description="it stays until somebody resets it")
    acknowledged_by: str | None = None
    acknowledged_at: Time = None
    consequence_of: str | None = None
    first_out: bool = Field(False, description="nothing else waited for an answer when it came")
    crossings: int = Field(0, description="how often its condition came while it stands, in this run of the station")
    again: int = Field(0, description="nobody has answered: so often announced again")
    escalated: bool = Field(False, description="nobody has answered for so long that its priority has risen")
    aside_by: str | None = Field(None, description="who shelved it or took it out of service")
    aside_why: str | None = None
    aside_until: Time = None
    seq: int | None = None
    at: Time = None
    msg: Message | None = Field(None, description="of `cause`")
    consequence_msg: Message | None = None
    response_msg: Message | None = None
    duty: Duty | None = Field(None, description="of the alarm of something that people do")


class Alarms(Shape):
    """All alarms, by id."""

    at: str
    trusted: bool
    alarms: dict[str, Alarm]


class Performance(Shape):
    """How the alarms of a span have performed. Shares are per cent; `stale` is [id, begin, end or null]."""

    from_: str = Field(alias="from")
    to: str
    announced: int
    again: int = Field(description="announced again, as nobody had answered")
    per_day: float
    per_period: float = Field(description="in ten minutes, on an average")
    most_in_period: int = Field(description="in any ten minutes")
    periods_over: float
    hours_over: float
    floods: list[list[str]]
    flooded: float = Field(description="share of the time")
    top: list[list[str | int]] = Field(description="ids, with how often")
    top_share: float
    chattering: dict[str, int]
    fleeting: dict[str, int]
    stale: list[list[Time]]
    most_standing: int
    answered_s: list[float] | None = Field(description="until acknowledged: half within, nine of ten within")
    unanswered: int
    by_priority: dict[str, int]
    undated: int = Field(
        description="announced, when can't be told: they are taken to lie between the boots that have a date"
    )
    targets: dict[str, dict[str, float]] = Field(description="by figure: at `most`, or `below`")


class Settings(Shape):
    """The settings in force."""

    seq: int
    at: str
    dated_at: Time = None
    digest: str
    document: dict[str, Any]


class Estimate(Shape):
    """What is expected, with a 90 % interval; null where nothing can be said, and why."""

    at: Time = None
    of: str | None = None
    value: float | str | None
    low: float | str | None = None
    high: float | str | None = None
    unit: str | None = None
    why: str | None = None
    msg: Message | None = Field(None, description="of `why`")


class Estimates(Shape):
    """All estimates, by name."""

    at: str
    trusted: bool
    estimates: dict[str, Estimate]


class JournalEntry(Shape):
    """One entry of the journal."""

    seq: int
    boot: str
    mono_ms: int
    at: str
    trusted: bool
    kind: str
    body: dict[str, Any]
    dated_at: str | None
    language: str | None = Field(None, description="of its texts, where a language or units were asked for")
    as_kept: list[str] | None = Field(
        None, description="then: members of the body whose text has no message, and so stands as it was kept"
    )


class Journal(Shape):
    """A page of the journal. Ask again with `after` = `next_after` while `more` is true."""

    after: int
    next_after: int
    last_seq: int
    more: bool
    entries: list[JournalEntry]


class Kept(Shape):
    """The record is on disk, as this entry. `counts` false: it was kept and does not count, and `why_not` says so."""

    seq: int
    at: str
    happened_at: Time = Field(None, description="the instant that the record's own `at` was understood as")
    counts: bool | None = None
    why_not: str | None = None
    why_not_msg: Message | None = None
    led_to: list[str] = Field(
        [],
        description="what the station makes of it, until when it holds, and whether the station may start now; none of a note, and where "
        "the picture doesn't take it into account yet",
    )
    led_to_msgs: list[Message] = []


class Acknowledge(Shape):
    """Who answers an alarm."""

    by: str = Field(
        "", min_length=1, max_length=80, examples=["M. Osei"], description="of whoever is signed in it may be left out"
    )
    note: str | None = Field(None, max_length=2000)


class Ask(AnsweredBy):
    """Something that the station asks for, and the record that answers it."""

    text: str = Field(description="what to do")
    for_ready: bool = Field(description="READY waits for it")
    instead: bool = Field(description="it answers the same as the one before")
    alarm: str | None = Field(description="id of the alarm that tells of it")
    why: str = Field(description="the alarm's cause")


class Later(Shape):
    """Something that comes round, and when."""

    record: str
    keys: dict[str, str]
    due_at: Time
    text: str


class Treatment(Shape):
    """Where a water-path treatment stands. `left_s`: how long its contact has to last yet; `missing`: what is done after it."""

    state: Literal["none", "contact", "contact_done", "afterwards", "cant_be_timed"]
    left_s: float | None
    text: str
    missing: list[str]


class Asks(Shape):
    """What the station asks people to record, the most urgent first."""

    at: Time
    trusted: bool
    is_silent: bool = Field(description="its judge says nothing: what stands here is old")
    asks: list[Ask]
    later: list[Later] = Field(description="what isn't owed yet, the next first")
    setup: dict[str, Any] | None = Field(description="what of the station file the forms go by; null: not known yet")
    treatment: Treatment


class FormKey(Shape):
    """One key of a record's form."""

    key: str
    kind: str
    says: str
    words: list[str] = Field(description="the only ones; none: any")
    low: float | None = None
    high: float | None = None
    within_days: tuple[int, int] | None = Field(None, description="a date lies from so many days of today to so many")


class RecordForm(Shape):
    """The form of a record. `needs`: of each group at least one key; `may`: the roles that may make it."""

    says: str
    keys: list[FormKey]
    needs: list[list[str]]
    may: list[PersonRole]


class Forms(Shape):
    """The forms of all records."""

    records: dict[str, RecordForm]
    technician_shelves_min: float = Field(description="a technician puts an alarm aside for at most so many minutes")


class TestSoFar(Shape):
    """What a daily test comes to as far as it was done. `passed` null: that can't be told yet."""

    passed: bool | None
    text: str
    failed_ports: list[int]
    advice: str = Field(description="what to look at where it failed")


class Draft(Shape):
    """What somebody has begun to record. It is no evidence."""

    record: str
    basin: str | None
    by: str | None = Field(description="who changed it last")
    version: int
    begun_ago_s: float
    changed_ago_s: float
    expires_in_s: float
    body: dict[str, Any] = Field(description="the record so far")
    state: dict[str, Any] = Field(description="what its page alone understands")
    comes_to: TestSoFar | None


class Discarded(Shape):
    """A draft that somebody discarded."""

    record: str
    basin: str | None
    by: str | None
    ago_s: float


class Drafts(Shape):
    """All drafts, the last changed first."""

    mono_ms: int = Field(description="the station's monotonic clock, by which stopwatches in drafts run")
    run: str = Field(description="another one after each start, which no draft outlives")
    drafts: list[Draft]
    discarded: list[Discarded] = Field([], description="what somebody discarded, as long as drafts last")


class DraftKept(Shape):
    """A draft that was kept."""

    mono_ms: int
    run: str
    draft: Draft


class DraftSent(Shape):
    """A draft to be kept."""

    version: int = Field(ge=0, description="of the draft whose place it takes; 0: there is none")
    body: dict[str, Any]
    state: dict[str, Any]
    by: str = Field("", max_length=80, description="who does it, where nobody signs in")


class DraftEnded(Shape):
    """A draft was discarded; false: there was none."""

    mono_ms: int
    run: str
    ended: bool


class SignIn(Shape):
    """The code on somebody's card."""

    code: str = Field(min_length=1, max_length=64, examples=["7KQ3-M2VD-9XTA-04BW"])


class Session(Shape):
    """Who is signed in here. `csrf` goes with each write as the header X-CSRF-Proof."""

    people: Literal["none", "set_up", "unreadable"]
    signed_in: bool
    name: str | None = None
    role: PersonRole | None = None
    csrf: str | None = None
    idle_ends_in_s: int | None = Field(None, description="until it ends unless somebody does something")
    ends_in_s: int | None = Field(None, description="until it ends whatever is done")


class Person(Shape):
    """Somebody who may sign in."""

    name: str
    role: PersonRole


class People(Shape):
    """Everybody who may sign in."""

    people: list[Person]


class First(Shape):
    """The one-time code that the board showed, and who the first person is."""

    code: str = Field(min_length=1, max_length=64, examples=["7KQ3-M2VD-9XTA-04BW"])
    name: str = Field(min_length=1, max_length=80, examples=["M. Osei"])


class NewPerson(Person):
    """Somebody who was made just now. The code is shown this once."""

    code: str


class Ended(Shape):
    """Sessions have ended."""

    ended: bool


class Health(Shape):
    """`ok`; `degraded`: it judges, but a part is in trouble; `failed`: the judge is silent or the journal unreadable."""

    status: Literal["ok", "degraded", "failed"]
    judge_quiet_s: float
    streams: int
    last_seq: int | None
    parts: dict[str, Any]
