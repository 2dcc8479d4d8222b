"""`warmwell certificate`: what the page is served with, a certificate of its own, a request to the site's authority; and what
`warmwell check` finds of them."""

from __future__ import annotations

import io
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from edge.certificates.making import make_own, make_request
from edge.certificates.reading import Facts, facts_of, facts_of_pair
from edge.config.plans import PageTlsPlan, StationFile
from edge.daemon.page import TOLD_BEFORE_MS, Anyone, address_for_people, refuse_nobody
from edge.domain.entries import rfc3339
from edge.domain.errors import UnusableInput
from edge.hosts import LOOPBACK, names_for
from edge.terminal import DONE, say_json

if TYPE_CHECKING:
    import segno

QUIET_ZONE = 4  # modules of light around the symbol: ISO/IEC 18004, 6.3.8 (from memory)


def show(plan: StationFile, svg: Path | None, *, as_json: bool = False) -> int:
    """Print where people find the page, its certificate and fingerprint, and the address as a QR code; with `svg` write that to a file.

    Raises:
        UnusableInput: the certificate can't be used, or the file can't be written.
    """
    facts = None if plan.api.tls is None else facts_of(plan.api.tls.certificate)
    address = address_for_people(plan.api, () if facts is None else facts.names)
    code = symbol(address)
    if as_json:
        if svg is not None:
            _write_svg(code, svg, address)
        say_json({"page": address, "certificate": _facts_json(facts, plan), "svg": None if svg is None else str(svg)})
        return DONE
    lines = [f"page: {address}"]
    if facts is not None and plan.api.tls is not None:
        lines += facts_lines(facts, plan.api.tls, datetime.now(UTC))
    elif not plan.api.on_network:
        lines.append("certificate: none; the page is for this computer alone, by plain HTTP")
    print("\n".join(lines))
    if svg is None:
        print(drawn(code, coloured=sys.stdout.isatty()))
    else:
        _write_svg(code, svg, address)
        print(f"QR code: {svg}")
    return DONE


def make(plan: StationFile, *, again: bool, as_json: bool = False) -> int:
    """Make an own certificate of one year, and print it.

    Raises:
        UnusableInput: [api.tls] is missing or names files of the site; there is one that holds, and `again` is False.
    """
    tls = _tls(plan)
    if not tls.is_own:
        raise UnusableInput(
            f"the page has a certificate of the site, {tls.certificate}", where=f"{plan.path}, api.tls",
            expected="no certificate and key there", do="Ask the site's authority to renew it, or remove both keys to have an own one",
        )  # fmt: skip
    names, now = names_for(tls.names, plan.api.host), datetime.now(UTC)
    if tls.certificate.exists() and not again:
        _refuse_another(tls.certificate, names, now)
    make_own(tls.certificate, tls.key, names, now)
    show(plan, None, as_json=as_json)
    if as_json:
        return DONE
    print(
        "A running station takes it within seconds. Whoever has compared the former fingerprint has to compare this one."
    )
    return DONE


def request(plan: StationFile, *, as_json: bool = False) -> int:
    """Write a request to the site's authority beside the key, and say what to do with the answer.

    Raises:
        UnusableInput: [api.tls] is missing, or has no name that leads here from elsewhere.
    """
    tls = _tls(plan)
    names = [name for name in names_for(tls.names, plan.api.host) if name not in LOOPBACK]
    if not names:
        raise UnusableInput(
            "it says no name by which the page is asked for", where=f"{plan.path}, api.tls", expected='names = ["…"]', do="Add them",
        )  # fmt: skip
    file = tls.key.with_name(f"{tls.key.stem}-request.pem")
    make_request(file, tls.key, names)
    if as_json:
        say_json({"request": str(file), "names": names, "key": str(tls.key), "certificate": str(tls.certificate)})
        return DONE
    print(
        f"request: {file}, for {', '.join(names)}\nkey: {tls.key}; it stays here\nSend the request to the site's authority. Put what it "
        f"answers, in PEM form and with the authorities between behind it, at {tls.certificate}: a running station takes it within seconds."
    )
    return DONE


def look(plan: StationFile, anyone: Anyone) -> tuple[list[str], list[UnusableInput]]:
    """(warnings, mistakes) of the page's way to the network."""
    warnings, mistakes = list[str](), list[UnusableInput]()
    try:
        refuse_nobody(plan, anyone)
    except UnusableInput as exc:
        mistakes.append(exc) if plan.keep.folder.is_dir() else warnings.append(str(exc))
    tls = plan.api.tls
    if tls is None:
        return warnings, mistakes
    try:
        facts = facts_of_pair(tls.certificate, tls.key)
    except UnusableInput as exc:
        elsewhere = isinstance(exc.__cause__, PermissionError) or (
            isinstance(exc.__cause__, FileNotFoundError) and not plan.keep.folder.is_dir()
        )
        warnings.append(str(exc)) if elsewhere else mistakes.append(exc)
    else:
        warnings += [f"{plan.path}, api.tls: {text}." for text in _doubts(facts, plan, tls)]
    return warnings, mistakes


def _doubts(facts: Facts, plan: StationFile, tls: PageTlsPlan) -> list[str]:
    asked = [name for name in names_for(tls.names, plan.api.host) if name not in LOOPBACK]
    lacking = [name for name in asked if name not in facts.names and f"*.{name.partition('.')[2]}" not in facts.names]
    said = [f"the certificate is not for {', '.join(lacking)}: make it anew, or ask for one that is"] if lacking else []
    left_ms = facts.ends_ms - datetime.now(UTC).timestamp() * 1000
    if left_ms < TOLD_BEFORE_MS:
        said.append(f"the certificate {'ended' if left_ms <= 0 else 'ends'} on {_day(facts.ends_ms)}: have it renewed")
    return said


def facts_lines(facts: Facts, tls: PageTlsPlan, now: datetime) -> list[str]:
    """A certificate, for people."""
    days = (facts.ends_ms / 1000 - now.timestamp()) / 86_400
    left = f"{days:.0f} days left" if days > 0 else "it has ended"
    by = "itself: nobody vouches for it, so compare the fingerprint" if facts.is_own else facts.issuer
    return [
        f"certificate: {tls.certificate}",
        f"for: {', '.join(facts.names)}",
        f"vouched for by: {by}",
        f"holds: {_day(facts.begins_ms)} to {_day(facts.ends_ms)} UTC, {left}",
        f"SHA-256 fingerprint: {facts.fingerprint}",
    ]


def _facts_json(facts: Facts | None, plan: StationFile) -> dict[str, Any] | None:
    """A certificate, for programs; None: there is none."""
    if facts is None or plan.api.tls is None:
        return None
    return {
        "file": str(plan.api.tls.certificate), "names": list(facts.names), "issuer": facts.issuer, "is_own": facts.is_own,
        "begins_at": rfc3339(facts.begins_ms), "ends_at": rfc3339(facts.ends_ms), "fingerprint": facts.fingerprint,
    }  # fmt: skip


def symbol(address: str) -> segno.QRCode:
    """The address as a QR code; a seventh of it may be damaged (level M)."""
    import segno

    return segno.make_qr(address, error="m")


def drawn(code: segno.QRCode, *, coloured: bool) -> str:
    """A QR code in half blocks, light on dark; `coloured`: whatever the terminal's own colours are."""
    out = io.StringIO()
    code.terminal(out, border=QUIET_ZONE, compact=True)
    lines = out.getvalue().splitlines()
    return "\n".join(f"\x1b[97;40m{line}\x1b[0m" for line in lines) if coloured else "\n".join(lines)


def _write_svg(code: segno.QRCode, file: Path, address: str) -> None:
    try:
        code.save(str(file), kind="svg", border=QUIET_ZONE, scale=10, title=address)
    except OSError as exc:
        raise UnusableInput(
            f"it can't be written ({exc.strerror})", where=str(file), expected="a folder that this user may write", do="Name another",
        ) from exc  # fmt: skip


def _tls(plan: StationFile) -> PageTlsPlan:
    if plan.api.tls is None:
        raise UnusableInput(
            "the page has no certificate there", where=f"{plan.path}, api.tls", expected="[api.tls]",
            do='Add [api.tls] with names = ["…"], by which the page is asked for',
        )  # fmt: skip
    return plan.api.tls


def _refuse_another(certificate: Path, names: tuple[str, ...], now: datetime) -> None:
    """One that can't be read is replaced without a question."""
    try:
        facts = facts_of(certificate)
    except UnusableInput:
        return
    if facts.ends_ms - now.timestamp() * 1000 > TOLD_BEFORE_MS and set(names) <= set(facts.names):
        raise UnusableInput(
            f"there is one that holds until {_day(facts.ends_ms)} and is for the same names; another one has another fingerprint",
            where=str(certificate), expected="none, or one that ends within three weeks", do="Say --again to replace it",
        )  # fmt: skip


def _day(wall_ms: int) -> str:
    return datetime.fromtimestamp(wall_ms / 1000, UTC).date().isoformat()
