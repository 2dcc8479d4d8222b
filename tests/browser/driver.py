"""One headless Chromium, driven over its own debugging protocol (DevTools Protocol, over a pipe).

No driver package: the protocol is documented, a page needs a dozen of its commands, and a package would bring a browser of its own or
a server in between.
"""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import subprocess
import time
from pathlib import Path
from typing import Any

from tests.api_fakes import until

CHROMIUM = shutil.which("chromium")


class Browser:
    """One headless Chromium with one page."""

    FLAGS = (
        "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
        "--disable-component-update --disable-sync --disable-dev-shm-usage --hide-scrollbars --remote-debugging-pipe"
    ).split()

    def __init__(self, profile: Path) -> None:
        to_read, self._to = os.pipe()
        self._from, from_write = os.pipe()

        def wire() -> None:  # the protocol's file descriptors are 3 (in) and 4 (out)
            one, other = os.dup(to_read), os.dup(from_write)
            os.dup2(one, 3)
            os.dup2(other, 4)

        assert CHROMIUM is not None
        self._process = subprocess.Popen(
            [CHROMIUM, *self.FLAGS, f"--user-data-dir={profile}", "about:blank"],
            preexec_fn=wire, close_fds=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(to_read)
        os.close(from_write)
        self._buffer, self._number = b"", 0
        self._typed_at, self.touches = 0.0, 0
        self.said: list[dict[str, Any]] = []
        self._session: str | None = None
        target = until(self._page, "the browser opens a page", 120)
        self._session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def _page(self) -> str | None:
        targets = self.call("Target.getTargets")["targetInfos"]
        return next((str(t["targetId"]) for t in targets if t["type"] == "page"), None)

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """One command and its result."""
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        deadline = time.monotonic() + 120
        while True:
            found = self._next(deadline)
            if found.get("id") == self._number:
                assert "error" not in found, found
                result: dict[str, Any] = found["result"]
                return result
            self.said.append(found)

    def _next(self, deadline: float) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            assert select.select([self._from], [], [], max(0.0, deadline - time.monotonic()))[0], (
                "the browser is silent"
            )
            piece = os.read(self._from, 1 << 20)
            assert piece, "the browser has ended"
            self._buffer += piece
        one, _, self._buffer = self._buffer.partition(b"\0")
        found: dict[str, Any] = json.loads(one)
        return found

    def js(self, expression: str) -> Any:
        """The value of an expression in the page."""
        result = self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in result, result
        return result["result"].get("value")

    def text(self, selector: str) -> str:
        """Its words; "" while the page is not there yet."""
        return str(self.js(f"(e => e ? e.innerText : '')(document.querySelector({json.dumps(selector)}))"))

    def errors(self) -> list[str]:
        """Exceptions, errors in the console and refusals by the policy so far."""
        self.js("1")
        found = []
        for event in self.said:
            params = event.get("params", {})
            if event.get("method") == "Runtime.exceptionThrown":
                found.append(str(params["exceptionDetails"]))
            if event.get("method") == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning", "assert"):
                found.append(str(params["args"]))
            if event.get("method") == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
                found.append(str(params["entry"]))
        return found

    def asked(self) -> list[str]:
        """Addresses that the page has asked for."""
        self.js("1")
        return [e["params"]["request"]["url"] for e in self.said if e.get("method") == "Network.requestWillBeSent"]

    def go(self, url: str) -> None:
        """Open a page; what the browser has said before is forgotten."""
        self.said.clear()
        self.call("Page.navigate", url=url)
        until(
            lambda: self.js("location.href") == url and self.js("document.readyState") != "loading", f"{url} is there"
        )

    def key(self, key: str, code: int, text: str = "", at_s: float = 0.0) -> None:
        """One key, down and up; `at_s` as of touch()."""
        for kind in ("keyDown", "keyUp"):
            more: dict[str, Any] = ({"text": text} if text else {}) | ({"timestamp": at_s} if at_s else {})
            self.call("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code, **more)

    def type(self, text: str, gap_s: float = 0.15) -> None:
        """Keys as a keyboard gives them, `gap_s` apart by the time that stands in each; a scanner's are a few ms apart."""
        at = max(time.time(), self._typed_at + 1)
        for sign in text:
            key, code = (
                ("Enter", 13) if sign == "\r" else (sign, {".": 190, ",": 188, "-": 189}.get(sign, ord(sign.upper())))
            )
            for kind in ("keyDown", "keyUp"):
                more = {"text": sign} if kind == "keyDown" else {}
                self.call(
                    "Input.dispatchKeyEvent", type=kind, key=key, windowsVirtualKeyCode=code, timestamp=at, **more
                )
            at += gap_s
        self._typed_at = at

    def touch(self, selector: str, at_s: float = 0.0) -> None:
        """A finger on the middle of an element, which is brought into view; `at_s`: at this time (UNIX) by what stands in the event."""
        place = "e.scrollIntoView({block: 'center'}); const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2];"
        x, y = self.js(f"(e => {{ {place} }})(document.querySelector({json.dumps(selector)}))")
        self.touches += 1
        when = {"timestamp": at_s} if at_s else {}
        self.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": x, "y": y}], **when)
        self.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[], **when)

    def prefers(self, **features: str) -> None:
        """Media features, such as prefers_color_scheme="dark"; none: as they are."""
        told = [{"name": name.replace("_", "-"), "value": value} for name, value in features.items()]
        self.call("Emulation.setEmulatedMedia", features=told)

    def size(self, width: int, height: int, mobile: bool = False) -> None:
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=mobile)

    def screenshot(self, whole: bool = False) -> bytes:
        """A PNG of what is seen; `whole`: of the page from its top to its end."""
        return base64.b64decode(self.call("Page.captureScreenshot", captureBeyondViewport=whole)["data"])

    def processes(self) -> list[int]:
        """Its own and those that it started: a page has one of its own."""
        found, new = set[int](), [self._process.pid]
        while new:
            pid = new.pop()
            found.add(pid)
            for task in Path(f"/proc/{pid}/task").glob("*/children"):
                new += [int(child) for child in task.read_text().split() if int(child) not in found]
        return sorted(found)

    def close(self) -> None:
        self._process.terminate()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(10)
        os.close(self._to)
        os.close(self._from)
