"""A page in a real browser, on a narrow screen and in print: can everyone use it?

The browser is spoken to through a pipe, so it opens no port and needs no library; the rules are
those of axe-core, from whichever package brings them.
"""

import base64
import fcntl
import json
import os
import select
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

REQUIRED = bool(os.environ.get("REHAB_TEST_CHROMIUM_REQUIRED"))
PROGRAMS = ("chromium", "chromium-headless-shell", "chromium-browser", "google-chrome")
RULES = ("axe_playwright_python", "axe_core_python")
# WCAG 2.2, success criterion 1.4.10: no scrolling in two directions at this width.
NARROW = 320
SECONDS = 30
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
    "--disable-extensions", "--disable-background-networking", "--disable-component-update",
    "--host-resolver-rules=MAP * ~NOTFOUND", "--remote-debugging-pipe",
)  # fmt: skip
ASK = """axe.run(document, {resultTypes: ["violations"]}).then(found => found.violations.map(
    rule => `${rule.id}: ${rule.help}: ${rule.nodes[0].html}`))"""
WIDE = """[...document.querySelectorAll("body *")].filter(
    part => part.getBoundingClientRect().right > innerWidth + 1).map(part => part.outerHTML)"""


@dataclass(slots=True)
class Browser:
    """One tab of a running browser, for as many pages as there are."""

    to: int
    back: int
    rules: str
    asked: int = 0
    tab: str = ""
    waiting: bytes = b""

    def ask(self, method: str, **given: Any) -> Any:
        """What the browser answers to a method of its debugging protocol."""
        self.asked += 1
        said: dict[str, Any] = {"id": self.asked, "method": method, "params": given}
        if self.tab:
            said["sessionId"] = self.tab
        os.write(self.to, json.dumps(said).encode() + b"\0")
        while (answer := self._next()).get("id") != self.asked:
            pass  # News of the page that nobody asked for.
        if "error" in answer:
            raise RuntimeError(f"{method}: {answer['error']['message']}")
        return answer["result"]

    def value(self, expression: str) -> Any:
        """What an expression comes to on the page, once its promise is kept."""
        found = self.ask(
            "Runtime.evaluate", expression=expression, awaitPromise=True, returnByValue=True
        )
        if "exceptionDetails" in found:
            raise RuntimeError(str(found["exceptionDetails"]))
        return found["result"].get("value")

    def show(self, html: str, *, width: int, medium: str) -> None:
        """A page at a width in pixels, on `screen` or in `print`."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=800, deviceScaleFactor=1, mobile=False,
        )  # fmt: skip
        self.ask("Emulation.setEmulatedMedia", media=medium)
        frame = self.ask("Page.navigate", url="about:blank")["frameId"]
        self.ask("Page.setDocumentContent", frameId=frame, html=html)

    def violations(self, html: str, *, width: int = NARROW, medium: str = "screen") -> list[str]:
        """The rules of accessibility that the page breaks, each with the first place."""
        self.show(html, width=width, medium=medium)
        self.value(f"{self.rules}; 0")
        broken: list[str] = self.value(ASK)
        return broken

    def too_wide(self, html: str, *, width: int = NARROW) -> list[str]:
        """What makes a reader scroll sideways on a narrow screen."""
        self.show(html, width=width, medium="screen")
        if self.value("document.documentElement.scrollWidth") <= width:
            return []
        parts: list[str] = self.value(WIDE)
        return [part[:120] for part in parts] or ["the page"]

    def printed(self, html: str) -> bytes:
        """The page as the browser prints it, on the paper that its style asks for."""
        self.show(html, width=800, medium="")
        found = self.ask("Page.printToPDF", preferCSSPageSize=True)["data"]
        return base64.b64decode(found)

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self.waiting:
            ready, _, _ = select.select([self.back], [], [], SECONDS)
            more = os.read(self.back, 1 << 16) if ready else b""
            if not more:
                raise RuntimeError("the browser has gone, or does not answer")
            self.waiting += more
        said, _, self.waiting = self.waiting.partition(b"\0")
        answer: dict[str, Any] = json.loads(said)
        return answer


def missing() -> str:
    """What is not installed, or nothing."""
    if not any(map(shutil.which, PROGRAMS)):
        return "no Chromium here (on Debian: apt-get install chromium-headless-shell)"
    if not any(map(find_spec, RULES)):
        return "no axe-core here (pip install --no-deps axe-playwright-python)"
    return ""


@contextmanager
def running_browser() -> Iterator[Browser]:
    """A browser that is ended with whatever it started; without one the test is skipped."""
    if lacking := missing():
        (pytest.fail if REQUIRED else pytest.skip)(lacking)
    there, to = os.pipe()
    back, here = os.pipe()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        command = [str(next(filter(None, map(shutil.which, PROGRAMS)))), *FLAGS]
        command.append(f"--user-data-dir={folder}")
        process = subprocess.Popen(
            command, preexec_fn=partial(_as_third_and_fourth, there, here), pass_fds=(3, 4),
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
        )  # fmt: skip
        os.close(there)
        os.close(here)
        try:
            browser = Browser(to, back, _rules())
            target = browser.ask("Target.createTarget", url="about:blank")["targetId"]
            attached = browser.ask("Target.attachToTarget", targetId=target, flatten=True)
            browser.tab = attached["sessionId"]
            yield browser
        finally:
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait(SECONDS)
            os.close(to)
            os.close(back)


def _as_third_and_fourth(there: int, here: int) -> None:
    """Where a browser looks for the pipes of its protocol."""
    out_of_the_way = [fcntl.fcntl(pipe, fcntl.F_DUPFD, 10) for pipe in (there, here)]
    for number, pipe in enumerate(out_of_the_way, start=3):
        os.dup2(pipe, number)


def _rules() -> str:
    spec = next(filter(None, map(find_spec, RULES)))
    return (Path(str(spec.origin)).parent / "axe.min.js").read_text(encoding="utf-8")
