"""Debian's Firefox, driven by WebDriver BiDi, the W3C's own protocol (https://www.w3.org/TR/webdriver-bidi/).

Firefox speaks it by itself, so nothing stands between: no driver program, no patched browser.
"""

import base64
import itertools
import json
import re
import shutil
import subprocess
import time
from contextlib import contextmanager

from websockets.sync.client import connect

BINARY = shutil.which("firefox-esr") or shutil.which("firefox")
STARTS_WITHIN_S = 60


class Firefox:
    """One headless Firefox, for a with-block."""

    def __init__(self, folder, width, height):
        switches = ["--headless", "--no-remote", "--profile", str(folder), "--remote-debugging-port", "0"]
        log = folder / "spoken.txt"
        assert BINARY is not None
        self.process = subprocess.Popen(
            [BINARY, *switches],
            stdout=log.open("w"),
            stderr=subprocess.STDOUT,
            env={"HOME": str(folder), "PATH": "/usr/bin:/bin"},
        )
        self.numbers = itertools.count(1)
        try:
            self.socket = connect(f"{self._address(log)}/session", max_size=None)
        except BaseException:
            self.process.kill()  # else it would outlive the tests
            raise
        self("session.new", capabilities={})
        self.tab = None
        self.viewport = {"width": width, "height": height}

    def _address(self, log):
        end = time.monotonic() + STARTS_WITHIN_S
        while time.monotonic() < end:
            found = re.search(r"ws://[\d.:]+", log.read_text())
            if found:
                return found[0]
            time.sleep(0.1)
        raise TimeoutError(log.read_text())

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.socket.close()
        self.process.terminate()
        self.process.wait(20)

    def __call__(self, method, **params):
        """One command; its result. Raises AssertionError with Firefox's own words."""
        number = next(self.numbers)
        self.socket.send(json.dumps({"id": number, "method": method, "params": params}))
        while True:
            answer = json.loads(self.socket.recv(60))
            if answer.get("id") == number:
                assert answer["type"] == "success", answer
                return answer["result"]

    @contextmanager
    def somebody_new(self):
        """For a with-block, a tab with cookies and memory of its own, forgotten after it."""
        person = self("browser.createUserContext")["userContext"]
        try:
            self.tab = self("browsingContext.create", type="tab", userContext=person)["context"]
            self("browsingContext.setViewport", context=self.tab, viewport=self.viewport)
            yield
        finally:
            self.tab = None
            self("browser.removeUserContext", userContext=person)

    def open(self, url):
        self("browsingContext.navigate", context=self.tab, url=url, wait="complete")

    def reload(self):
        self("browsingContext.reload", context=self.tab, wait="complete")

    def run(self, expression):
        """The value of an expression in the page."""
        answer = self(
            "script.evaluate",
            expression=f"JSON.stringify({expression})",
            target={"context": self.tab},
            awaitPromise=True,
        )
        assert answer["type"] == "success", answer
        return json.loads(answer["result"].get("value", "null"))

    def until(self, expression, patience_s=60):
        """Wait for an expression to be true."""
        end = time.monotonic() + patience_s
        while not self.run(f"Boolean({expression})"):
            assert time.monotonic() < end, expression
            time.sleep(0.1)

    def give(self, selector, *paths):
        """Choose files."""
        found = self(
            "script.evaluate",
            expression=f"document.querySelector({json.dumps(selector)})",
            target={"context": self.tab},
            awaitPromise=False,
        )["result"]
        self(
            "input.setFiles",
            context=self.tab,
            element={"sharedId": found["sharedId"]},
            files=[str(one) for one in paths],
        )

    def keys(self, *keys):
        moves = [{"type": kind, "value": key} for key in keys for kind in ("keyDown", "keyUp")]
        self("input.performActions", context=self.tab, actions=[{"type": "key", "id": "keys", "actions": moves}])

    def drag(self, *points):
        """Draw with the mouse over points of the window."""
        (x, y), *rest = ((round(a), round(b)) for a, b in points)
        moves = [{"type": "pointerMove", "x": x, "y": y}, {"type": "pointerDown", "button": 0}]
        moves += [{"type": "pointerMove", "x": a, "y": b, "duration": 80} for a, b in rest]
        moves += [{"type": "pointerUp", "button": 0}]
        self("input.performActions", context=self.tab, actions=[{"type": "pointer", "id": "mouse", "actions": moves}])

    def picture(self, path):
        """A picture of the window."""
        data = self("browsingContext.captureScreenshot", context=self.tab)["data"]
        path.write_bytes(base64.b64decode(data))
