"""What a station makes in processes of their own: backups, the record of each day and a mail with it, time stamps, and
reports that are asked for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from edge.config.plans import StationFile
from edge.daemon.asked_reports import AskedReports
from edge.daemon.backups import Backups, backups_of
from edge.daemon.report_mail import ReportMail, mail_of
from edge.daemon.reports import DailyReports, reports_of
from edge.daemon.stamping import Stamping, stamping_of
from edge.domain.contracts import Clock, JournalReader
from edge.domain.entries import Now, SignedHead
from edge.domain.messages import Message


class Regular:
    """Those that a station file asks for; none before the journal is there, and none where nothing can be kept.

    Args:
        clock: the station's.
        signed: the newest head that was signed.
    """

    def __init__(self, clock: Clock, signed: Callable[[], SignedHead | None] = lambda: None) -> None:
        self._clock, self._signed = clock, signed
        self._stamping: Stamping | None = None
        self._journal: JournalReader | None = None
        self._backups: Backups | None = None
        self._reports: DailyReports | None = None
        self._mail: ReportMail | None = None
        self.asked: AskedReports | None = None

    def begin(self, plan: StationFile, journal: JournalReader) -> None:
        """There is a journal to make them of."""
        self._journal = journal
        self._backups, self._reports = backups_of(plan, self._clock.boot, journal), reports_of(plan, journal)
        self._mail, self._stamping = mail_of(plan), stamping_of(plan, self._signed)
        self.asked = AskedReports(plan.keep.folder, self._clock.now)

    def renew(self, old: StationFile, new: StationFile) -> None:
        """A changed station file is in force."""
        if self._journal is None:
            return
        if new.backup != old.backup:
            if self._backups is not None:
                self._backups.stop()
            self._backups = backups_of(new, self._clock.boot, self._journal)
        if new.keep != old.keep:
            if self._stamping is not None:
                self._stamping.stop()
            self._stamping = stamping_of(new, self._signed)
        if new.reports != old.reports:
            for one in (self._reports, self._mail):
                if one is not None:
                    one.stop()
            self._reports, self._mail = reports_of(new, self._journal), mail_of(new)

    def look(self, now: Now) -> tuple[Message | None, dict[str, str]]:
        """The cause of the alarm where backups are overdue, and what people have to read of the others, by name;
        "" for nothing. Never waits for a disk."""
        overdue = None if self._backups is None else self._backups.look(now)
        if self._mail is not None:
            self._mail.look(now)
        looked = {"reports": self._reports, "time stamps": self._stamping}
        return overdue, {name: "" if one is None else one.look(now) for name, one in looked.items()}

    def unsent(self) -> tuple[int, str] | None:
        """(wall time since when a day's record could not be sent, why); None while it could, or isn't to be."""
        return None if self._mail is None else self._mail.unsent()

    def status(self) -> dict[str, Any]:
        """For /health: "backup", "reports" and "timestamps", where there are some."""
        found = {"backup": self._backups, "reports": self._reports, "timestamps": self._stamping}
        told = {name: one.status() for name, one in found.items() if one is not None}
        if self._mail is not None:
            told["reports"]["mail"] = self._mail.status()
        return told

    def stop(self) -> None:
        """Break off what is under way."""
        for one in (self._backups, self._reports, self._mail, self._stamping, self.asked):
            if one is not None:
                one.stop()
