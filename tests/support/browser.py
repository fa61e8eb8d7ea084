"""A browser driven by plain HTTP after the W3C WebDriver recommendation, with the standard library alone."""

from __future__ import annotations

import base64
import json
import re
import shutil
import subprocess
import time
import urllib.error
import urllib.request
from contextlib import contextmanager
from pathlib import Path

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
)
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"
"""Key under which the recommendation hands elements over."""
KEYS = {"Tab": "\ue004", "Enter": "\ue007", "Escape": "\ue00c", "Up": "\ue013", "Down": "\ue015", "Right": "\ue014"}
START_S = 60.0


def missing():
    """Which of the two programs is not here; empty where both are."""
    return " and ".join(name for name in ("chromium", "chromedriver") if shutil.which(name) is None)


class Browser:
    """One session."""

    def __init__(self, url, session=""):
        self.url, self.session = url, session

    def call(self, method, path, body=None):
        """What the driver answers."""
        data = None if body is None else json.dumps(body).encode()
        headers = {"Content-Type": "application/json"}
        request = urllib.request.Request(f"{self.url}{path}", data=data, method=method, headers=headers)  # noqa: S310  our own driver
        opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        try:
            with opener.open(request, timeout=120) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as error:
            raise AssertionError(error.read().decode()) from None

    def get(self, path, body=None):
        """A command of the session."""
        return self.call("GET" if body is None else "POST", f"/session/{self.session}{path}", body)

    def open(self, page):
        """Load a file."""
        self.get("/url", {"url": Path(page).resolve().as_uri()})

    def run(self, script, *words):
        """What a script returns."""
        return self.get("/execute/sync", {"script": script, "args": list(words)})

    def find(self, selector):
        """The first element that a selector of CSS finds."""
        return self.get("/element", {"using": "css selector", "value": selector})[ELEMENT]

    def click(self, selector):
        """Click on it, as a user would."""
        self.get(f"/element/{self.find(selector)}/click", {})

    def type(self, selector, text):
        """Type into it."""
        self.get(f"/element/{self.find(selector)}/value", {"text": text})

    def press(self, *keys):
        """Press keys one after the other, wherever the focus is."""
        actions = [{"type": kind, "value": KEYS.get(key, key)} for key in keys for kind in ("keyDown", "keyUp")]
        self.get("/actions", {"actions": [{"type": "key", "id": "keyboard", "actions": actions}]})

    def narrow(self, wide, tall):
        """Show the page as wide as a telephone, by the browser's own protocol."""
        metrics = {"width": wide, "height": tall, "deviceScaleFactor": 1, "mobile": False}
        self.get("/goog/cdp/execute", {"cmd": "Emulation.setDeviceMetricsOverride", "params": metrics})

    def picture(self):
        """What the window shows, as PNG."""
        return base64.b64decode(self.get("/screenshot"))

    def printed(self):
        """The page as it prints on A4, as PDF."""
        page = {"page": {"width": 21.0, "height": 29.7}, "background": True}
        return base64.b64decode(self.get("/print", page))

    def console(self):
        """What was written on the console so far: errors and warnings."""
        return self.get("/se/log", {"type": "browser"})


@contextmanager
def browser(folder, *, script=True):
    """A browser with a profile of its own in a folder; without JavaScript where that is asked for."""
    driver = subprocess.Popen(
        ["chromedriver", "--port=0"],  # noqa: S607  wherever it is installed
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    try:
        port, end = None, time.monotonic() + START_S
        while port is None and time.monotonic() < end:
            found = re.search(r"started successfully on port (\d+)", driver.stdout.readline())
            port = found and found[1]
        assert port, "chromedriver did not start"
        one = Browser(f"http://127.0.0.1:{port}")
        options = {"args": [*FLAGS, f"--user-data-dir={folder}/profile", "--window-size=1280,900"]}
        if not script:
            options["prefs"] = {"profile.managed_default_content_settings.javascript": 2}
        wanted = {"browserName": "chrome", "goog:chromeOptions": options, "goog:loggingPrefs": {"browser": "ALL"}}
        one.session = one.call("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})["sessionId"]
        try:
            yield one
        finally:
            one.call("DELETE", f"/session/{one.session}")
    finally:
        driver.terminate()
        driver.wait(timeout=30)
        driver.stdout.close()
