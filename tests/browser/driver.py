"""One headless Chromium, the system's own, driven by Playwright; Playwright's own browsers are never fetched."""

from __future__ import annotations

import json
import shutil
import time
from typing import Any

from playwright.sync_api import Browser as Process
from playwright.sync_api import BrowserContext, ConsoleMessage, sync_playwright

CHROMIUM = shutil.which("chromium")
#: of any wait inside Playwright, on a machine at load 10
PATIENCE_MS = 120_000


class Browser:
    """One device with a touch screen: a page of its own, with its own cookies and its own memory."""

    def __init__(self, shared: Process | None = None) -> None:
        assert CHROMIUM is not None, "there is no chromium on this machine: apt install chromium"
        self._playwright = None if shared else sync_playwright().start()
        if self._playwright:
            shared = self._playwright.chromium.launch(
                executable_path=CHROMIUM, args=["--disable-gpu", "--disable-quic"], timeout=PATIENCE_MS
            )
        assert shared is not None
        self._process = shared
        self.context: BrowserContext = shared.new_context(has_touch=True)
        self.context.set_default_timeout(PATIENCE_MS)
        self.page = self.context.new_page()
        self._protocol = self.context.new_cdp_session(self.page)
        self._typed_at, self.touches, self._is_mobile = 0.0, 0, False
        self._errors: list[str] = []
        self._asked: list[str] = []
        self.page.on("console", self._hear)
        self.page.on("pageerror", lambda error: self._errors.append(str(error)))
        self.page.on("request", lambda request: self._asked.append(request.url))

    def another(self) -> Browser:
        """A second device, which has nothing of the first; close it before this one."""
        return Browser(self._process)

    def _hear(self, said: ConsoleMessage) -> None:
        if said.type in ("error", "warning", "assert"):
            self._errors.append(f"{said.text} ({said.location})")

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """One command of the DevTools Protocol and its result, for what Playwright has no means of its own for."""
        found: dict[str, Any] = self._protocol.send(method, params)
        return found

    def js(self, expression: str) -> Any:
        """The value of an expression in the page; a function is called."""
        return self.page.evaluate(expression)

    def text(self, selector: str) -> str:
        """Its words; "" while the page is not there yet."""
        return str(self.js(f"(e => e ? e.innerText : '')(document.querySelector({json.dumps(selector)}))"))

    def errors(self) -> list[str]:
        """Exceptions, errors in the console and refusals by the policy so far; not 503, for which the page asks again."""
        self.js("1")
        return [error for error in self._errors if "a status of 503" not in error]

    def asked(self) -> list[str]:
        """Addresses that the page has asked for."""
        self.js("1")
        return list(self._asked)

    def go(self, url: str) -> None:
        """Open a page; what the browser has said before is forgotten."""
        self._errors.clear()
        self._asked.clear()
        self.page.goto(url, wait_until="domcontentloaded")

    def key(self, key: str, at_s: float = 0.0) -> None:
        """One key, down and up; `at_s` as of touch()."""
        if at_s:
            self._key_at(key, at_s)
        else:
            self.page.keyboard.press(key)

    def type(self, text: str, gap_s: float = 0.15) -> None:
        """Keys as a keyboard gives them, `gap_s` apart by the time that stands in each; a scanner's are a few ms apart."""
        at = max(time.time(), self._typed_at + 1)
        for sign in text:
            self._key_at("Enter" if sign == "\r" else sign, at)
            at += gap_s
        self._typed_at = at

    def _key_at(self, key: str, at_s: float) -> None:
        text = "\r" if key == "Enter" else key
        code = {"\r": 13, ".": 190, ",": 188, "-": 189}.get(text, ord(text.upper()))
        for kind, more in (("keyDown", {"text": text}), ("keyUp", {})):
            self.call("Input.dispatchKeyEvent", type=kind, key=key, windowsVirtualKeyCode=code, timestamp=at_s, **more)

    def touch(self, selector: str, at_s: float = 0.0) -> None:
        """A finger on the middle of an element, which is brought into view; `at_s`: at this time (UNIX) by what stands in the event."""
        place = "e.scrollIntoView({block: 'center'}); const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2];"
        x, y = self.js(f"(e => {{ {place} }})(document.querySelector({json.dumps(selector)}))")
        self.touches += 1
        if at_s:
            self.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": x, "y": y}], timestamp=at_s)
            self.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[], timestamp=at_s)
        else:
            self.page.touchscreen.tap(x, y)

    def prefers(self, **features: Any) -> None:
        """Media features by Playwright's names, such as color_scheme="dark"; the others are as of a device without wishes."""
        wishes: dict[str, Any] = {
            "color_scheme": "light",
            "reduced_motion": "no-preference",
            "contrast": "no-preference",
        }
        self.page.emulate_media(**wishes | features)

    def size(self, width: int, height: int, mobile: bool = False) -> None:
        """What is seen of the page, in px; `mobile`: laid out as on a telephone, which Playwright can only fix for good."""
        if self._is_mobile:
            self.call("Emulation.clearDeviceMetricsOverride")  # else it is in force again at the next page
        self.page.set_viewport_size({"width": width, "height": height})
        if mobile:
            size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": True}
            self.call("Emulation.setDeviceMetricsOverride", **size)
        self._is_mobile = mobile

    def screenshot(self, whole: bool = False) -> bytes:
        """A PNG of what is seen; `whole`: of the page from its top to its end."""
        return self.page.screenshot(full_page=whole)

    def processes(self) -> list[int]:
        """The browser's own and those that it started: a page has one of its own."""
        session = self._process.new_browser_cdp_session()
        found = session.send("SystemInfo.getProcessInfo")["processInfo"]
        session.detach()
        return sorted(one["id"] for one in found)

    def close(self) -> None:
        self.context.close()
        if self._playwright:
            self._process.close()
            self._playwright.stop()
