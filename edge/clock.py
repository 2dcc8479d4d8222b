"""Monotonic and wall time, boot identity, trust and steps; a fast clock for demos, a told one for tests.

Monotonic time is CLOCK_BOOTTIME: it goes on while the board is suspended, so that a reading from before a suspend is as
old as it really is. NTP slews it together with the wall clock, so `wall - mono` changes only when somebody sets the
clock: a step.

When the wall clock is trusted:
- the kernel says that it is synchronised (adjtimex gives anything but TIME_ERROR, adjtimex(2)); or
- it is plausible: later than this version was made and than the newest trusted time in the journal, less than twenty
  years ahead, and something kept it: a battery clock that the kernel took the time from at boot, or somebody set it
  while we watched. A board without a battery clock wakes with the time it was switched off at, which looks plausible
  and is wrong by the length of the outage; there only the kernel's word, or a setting of the clock, counts.
In neither case is a date trusted that no clock can have (before this version was made, decades ahead), or one that is months from
what the journal, or this boot, knew last: it waits for a person to confirm it, since what is wrong by months puts an end to reuse
lives, tests and archives, and a time server can be wrong, too.
Trust that was won holds until the clock steps; the kernel's flag alone drops out after hours without network, while the
clock is still right to a second or two.
"""

from __future__ import annotations

import ctypes
import math
import threading
import time
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Final, NamedTuple

from edge.domain.entries import Now

#: no true wall time is earlier: 2026-11-01T00:00:00Z, when this version was made
MADE_MS: Final = 1_793_491_200_000
#: and none is later than this: a clock decades ahead is as wrong as one in 1970
FARTHEST_MS: Final = MADE_MS + 20 * 31_557_600_000
#: a change of wall - mono beyond this is a step (clocks are set whole; slewing moves both)
STEP_MS: Final = 1000
#: a date this far from the newest one that was trusted waits for a person: longer than a board is switched off in use
JUMP_MS: Final = 92 * 86_400_000
#: how often the kernel is asked whether it is synchronised
ASK_EVERY_MS: Final = 1000

_TIME_ERROR: Final = 5  # adjtimex(2): the clock is not synchronised
_NOT_KEPT: Final = (
    "it is not synchronised, and no battery clock kept the time while the board was off; "
    "connect a network, or set the clock while Warmwell runs"
)
_BOOT_ID: Final = Path("/proc/sys/kernel/random/boot_id")
_RTC_CLASS: Final = Path("/sys/class/rtc")


class Trust(NamedTuple):
    """Whether the wall clock is trusted, and why, as a clause for people."""

    trusted: bool
    why: str


class Step(NamedTuple):
    """What ClockWatch found since its last look.

    `by_ms`: how far the wall clock was set (0: not at all, only the trust changed). `first_trusted`: trusted for the
    first time in this boot: this offset dates the stretch before it. `offset_ms`: wall - mono now, for the clock map.
    """

    by_ms: int
    first_trusted: bool
    trusted: bool
    offset_ms: int


class ClockWatch:
    """Tells when the wall clock was set and when it became trusted. Pure: the caller brings the instants.

    It compares with the offset it last reported, so that several settings below the threshold can't add up unseen.
    """

    def __init__(self, step_ms: int = STEP_MS) -> None:
        self._step_ms = step_ms
        self._offset_ms: int | None = None
        self._trusted = False
        self._ever_trusted = False

    def look(self, now: Now) -> Step | None:
        """Compare with the last look. The first look only takes note: the start is told by whoever starts."""
        offset_ms = now.wall_ms - now.mono_ms
        if self._offset_ms is None:
            self._offset_ms, self._trusted, self._ever_trusted = offset_ms, now.trusted, now.trusted
            return None
        by_ms = offset_ms - self._offset_ms
        stepped = abs(by_ms) > self._step_ms
        if not stepped and now.trusted == self._trusted:
            return None
        step = Step(by_ms if stepped else 0, now.trusted and not self._ever_trusted, now.trusted, offset_ms)
        self._offset_ms = offset_ms if stepped else self._offset_ms
        self._trusted = now.trusted
        self._ever_trusted = self._ever_trusted or now.trusted
        return step


def kernel_synchronised() -> bool | None:
    """Whether the kernel says that its clock is synchronised; None where it doesn't let itself be asked."""
    ask = _adjtimex()
    if ask is None:
        return None
    # struct timex is 208 bytes on 64-bit Linux; the first word, modes = 0, means: change nothing
    state = ask(ctypes.create_string_buffer(1024))
    return None if state < 0 else state != _TIME_ERROR


def _adjtimex() -> Callable[..., int] | None:
    try:
        found: Callable[..., int] = ctypes.CDLL(None).adjtimex
    except (OSError, AttributeError):
        return None
    return found


def has_battery_clock() -> bool | None:
    """Whether the kernel took its time from a battery clock at boot; None where the system doesn't say."""
    try:
        clocks = list(_RTC_CLASS.iterdir())
    except OSError:
        return None
    return any(_first_line(clock / "hctosys") == "1" for clock in clocks)


def boot_identity() -> str:
    """This boot's identity, from the kernel; a random one where it is hidden (each start then counts as a boot)."""
    return _first_line(_BOOT_ID) or str(uuid.uuid4())


def _first_line(path: Path) -> str:
    try:
        return path.read_text(encoding="ascii", errors="replace").strip()
    except OSError:
        return ""


class RealClock:
    """The board's own clocks.

    Args:
        known_ms: newest trusted wall time in the journal; a clock before it contradicts the journal. 0: none.
        synchronised: asks the kernel; handed in by tests.
        battery_clock: True: a plausible wall clock at the start is trusted without the kernel's word; False: it is not;
            None: the system is asked, and where it doesn't say, a plausible clock is trusted.
        wall_ns, mono_ns: the two clocks; handed in by tests.
    """

    speed = 1.0

    def __init__(
        self,
        known_ms: int = 0,
        *,
        synchronised: Callable[[], bool | None] = kernel_synchronised,
        battery_clock: bool | None = None,
        boot: str | None = None,
        wall_ns: Callable[[], int] = time.time_ns,
        mono_ns: Callable[[], int] = lambda: time.clock_gettime_ns(time.CLOCK_BOOTTIME),
    ) -> None:
        self.boot = boot or boot_identity()
        self._known_ms = known_ms
        self._synchronised = synchronised
        kept = has_battery_clock() if battery_clock is None else battery_clock
        self._kept = kept is not False  # whether something kept the time since it was last right
        self._wall_ns, self._mono_ns = wall_ns, mono_ns
        self._lock = threading.Lock()
        self._trust = Trust(False, "not looked at yet")
        self._offset_ms: int | None = None
        self._asked_ms = -ASK_EVERY_MS
        self._confirmed_ms: int | None = None  # the offset (wall - mono) that a person confirmed

    def mono_ms(self) -> int:
        return self._mono_ns() // 1_000_000

    def real_s(self, ms: int) -> float:
        return ms / 1000

    def now(self) -> Now:
        mono_ms, wall_ms = self._both()
        with self._lock:
            self._look(mono_ms, wall_ms)
            return Now(mono_ms, wall_ms, self._trust.trusted)

    def trust(self) -> Trust:
        """Whether the wall clock is trusted at this instant, and why, for status pages and the `clock` condition."""
        self.now()
        return self._trust

    def journal_reaches(self, wall_ms: int) -> None:
        """Tell the newest trusted wall time of the journal once it has been read."""
        with self._lock:
            self._known_ms = max(self._known_ms, wall_ms)
            self._trust, self._offset_ms = Trust(False, "not looked at yet"), None

    def confirm(self) -> None:
        """A person says that the date is right: it is trusted until the clock is set again, unless no clock can have it."""
        mono_ms, wall_ms = self._both()
        with self._lock:
            self._confirmed_ms = wall_ms - mono_ms
            self._trust = self._judge(mono_ms, wall_ms, still=False)

    def trusted_before(self, boot: str, offset_ms: int) -> None:
        """Tell that an earlier run had this offset (wall - mono) and trusted it: in the same boot, it still holds.

        Without it, a restart on a board without battery clock would lose what was known, until the network is back.
        """
        mono_ms, wall_ms = self._both()
        with self._lock:
            if (
                boot == self.boot
                and abs(wall_ms - mono_ms - offset_ms) <= STEP_MS
                and not _bounds(wall_ms)
                and wall_ms >= self._known_ms
            ):
                self._offset_ms = wall_ms - mono_ms
                self._trust = Trust(True, "an earlier run trusted it in this boot, and it has not been set since")

    def _both(self) -> tuple[int, int]:
        """Both clocks at one instant: a thread that is held up between the two would see a step that never was."""
        narrowest, both = None, (0, 0)
        for _ in range(5):
            before_ns = self._mono_ns()
            wall_ns = self._wall_ns()
            gap_ns = self._mono_ns() - before_ns
            if narrowest is None or gap_ns < narrowest:
                narrowest, both = gap_ns, (before_ns // 1_000_000, wall_ns // 1_000_000)
            if gap_ns < 2_000_000:
                break
        return both

    def _look(self, mono_ms: int, wall_ms: int) -> None:
        offset_ms = wall_ms - mono_ms
        by_ms = 0 if self._offset_ms is None else offset_ms - self._offset_ms
        stepped = abs(by_ms) > STEP_MS
        if not stepped and self._offset_ms is not None and mono_ms - self._asked_ms < ASK_EVERY_MS:
            return
        self._asked_ms = mono_ms
        if stepped and _bounds(wall_ms) is None and wall_ms >= self._known_ms:
            self._kept = True  # somebody set it to a plausible time while we watched
        if stepped or self._offset_ms is None:
            self._offset_ms = offset_ms
        self._trust = self._judge(mono_ms, wall_ms, still=self._trust.trusted and not stepped)
        if self._trust.trusted:
            self._known_ms = max(self._known_ms, wall_ms) if self._known_ms - wall_ms < JUMP_MS else wall_ms

    def _judge(self, mono_ms: int, wall_ms: int, still: bool) -> Trust:
        wrong = _bounds(wall_ms)
        if wrong is not None:
            return Trust(False, wrong)
        if self._confirmed_ms is not None and abs(wall_ms - mono_ms - self._confirmed_ms) <= STEP_MS:
            return Trust(True, "a person confirmed the date")
        days = (wall_ms - self._known_ms) // 86_400_000
        if self._known_ms and abs(wall_ms - self._known_ms) > JUMP_MS:
            ahead = "after" if days > 0 else "before"
            return Trust(
                False,
                f"it shows a date {abs(days)} days {ahead} the newest one that was trusted: confirm it, or set it right",
            )
        if self._synchronised():
            return Trust(True, "the kernel says that it is synchronised")
        if still:
            return Trust(True, "it was right earlier in this boot and has not been set since")
        if wall_ms < self._known_ms:
            return Trust(False, "it shows a time before the journal's newest entry")
        if not self._kept:
            return Trust(False, _NOT_KEPT)
        return Trust(True, "it is not synchronised, but plausible and not before the journal's newest entry")


def _bounds(wall_ms: int) -> str | None:
    """Why no clock can have this wall time; None where one can."""
    if wall_ms < MADE_MS:
        return "it shows a time before this version of Warmwell was made"
    if wall_ms > FARTHEST_MS:
        return "it shows a time decades ahead"
    return None


#: the least share of its speed at which a fast clock goes on a computer that has no processor for it (our own number)
SLOWEST: Final = 0.05


class FastClock:
    """A clock that runs `speed` times as fast as real time from a given wall time on; its wall clock is trusted.

    Monotonic time begins at 0. Each has a boot identity of its own: two demos in one folder are two boots.

    Args:
        speed: simulated seconds per real second, above 0.
        start_wall_ms: wall time at which it begins [ms since 1970].
        boot: boot identity; without it a random one.
        longest_s: the longest real time between two looks at the clock that counts [s]. What is beyond it is a computer that
            was held up: there the clock waits, since three real seconds would be half an hour without a reading at speed 600.
            Somebody must look more often than that (`keep_going`, which also makes it slower while its threads wait for a processor).
        mono_ns: the real clock; handed in by tests.

    Raises:
        ValueError: the speed is not above 0.
    """

    def __init__(
        self,
        speed: float,
        start_wall_ms: int,
        boot: str | None = None,
        longest_s: float = math.inf,
        mono_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        if not speed > 0:
            raise ValueError(f"speed is {speed}; it must be above 0")
        self.speed = float(speed)
        self.boot = boot or str(uuid.uuid4())
        self._start_wall_ms, self._longest_ns, self._mono_ns = start_wall_ms, longest_s * 1e9, mono_ns
        self._looked_ns, self._counted_ns, self._pace = mono_ns(), 0, 1.0
        self._lock = threading.Lock()

    def mono_ms(self) -> int:
        with self._lock:
            now_ns = self._mono_ns()
            self._counted_ns += int(min(now_ns - self._looked_ns, self._longest_ns) * self._pace)
            self._looked_ns = now_ns
            return int(self._counted_ns * self.speed) // 1_000_000

    def keep_going(self, over: threading.Event, waited_s: Callable[[], float] = lambda: 0.0) -> None:
        """Look at the clock often enough until `over`; for a thread of its own.

        Args:
            over: ends it.
            waited_s: for how long, since it was last asked, readings waited for a processor [real s]. By this
                share the clock goes slower: a reading that is 5 ms late would be 3 s late at speed 600.
        """
        asked_ns = self._mono_ns()
        while not over.wait(self._longest_ns / 4e9):
            self.mono_ms()
            now_ns = self._mono_ns()
            share = waited_s() / max((now_ns - asked_ns) / 1e9, 1e-9)
            asked_ns = now_ns
            with self._lock:
                self._pace = min(max(1.0 - share, SLOWEST), 1.0)

    def now(self) -> Now:
        mono_ms = self.mono_ms()
        return Now(mono_ms, self._start_wall_ms + mono_ms, True)

    def real_s(self, ms: int) -> float:
        return ms / 1000 / self.speed


class ToldClock:
    """A clock for tests: it moves only when it is told to. Any thread may ask it."""

    speed = 1.0

    def __init__(
        self, mono_ms: int = 0, wall_ms: int = 1_800_000_000_000, trusted: bool = True, boot: str = "told"
    ) -> None:
        self.boot = boot
        self.trusted = trusted
        self._mono_ms, self._wall_ms = mono_ms, wall_ms
        self._lock = threading.Lock()

    def tell(self, ms: int) -> None:
        """Let `ms` pass, on both clocks."""
        if ms < 0:
            raise ValueError("monotonic time does not go back")
        with self._lock:
            self._mono_ms += ms
            self._wall_ms += ms

    def step_wall(self, ms: int, trusted: bool | None = None) -> None:
        """Set the wall clock `ms` ahead (or back), and with it, where given, whether it is trusted."""
        with self._lock:
            self._wall_ms += ms
            self.trusted = self.trusted if trusted is None else trusted

    def mono_ms(self) -> int:
        return self._mono_ms

    def now(self) -> Now:
        with self._lock:
            return Now(self._mono_ms, self._wall_ms, self.trusted)

    def real_s(self, ms: int) -> float:
        return ms / 1000
