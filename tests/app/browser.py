"""The real app in a real browser, for the tests and for the screenshots."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or "/usr/bin/chromium"
ARGUMENTS = (
    "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--disable-quic",
)  # fmt: skip
UPLOAD = '[data-testid="stFileUploader"] input[type="file"]'
LAPTOP, PHONE = (1366, 768), (390, 844)
SERVER_STARTS_S = 90.0  # a slow machine imports the server's libraries for the first time
SERVER_STOPS_S = 10.0
PAGE_DRAWN_MS = 60_000
PRESS_MS = 50  # a quick finger: a press of no length at all overtakes the box that is being left
QUIET_MS = 400
WCAG = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}
DRAWN = """() => document.getAnimations().every(a => a.playState !== 'running')
    && [...document.querySelectorAll('[data-testid="stPlotlyChart"]')]
        .every(chart => chart.querySelector('.main-svg'))"""


@contextlib.contextmanager
def app_server(data: Path) -> Iterator[str]:
    """`vibecore app` on a free port with this data folder; gives its address."""
    address, server = start_server(data, free_port())
    try:
        yield address
    finally:
        server.terminate()
        try:
            server.wait(timeout=SERVER_STOPS_S)
        except subprocess.TimeoutExpired:  # it is still in the middle of a long file
            server.kill()
            server.wait()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def start_server(data: Path, port: int) -> tuple[str, subprocess.Popen[bytes]]:
    """Start `vibecore app`; its address and its process once it answers."""
    command = Path(sys.executable).with_name("vibecore")
    server = subprocess.Popen(
        [str(command), "app", "--port", str(port), "--data", str(data)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "STREAMLIT_SERVER_HEADLESS": "true"},
    )
    _wait_for(f"http://127.0.0.1:{port}/_stcore/health", server)
    return f"http://127.0.0.1:{port}", server


@contextlib.contextmanager
def chromium() -> Iterator[Any]:
    """A browser without a screen."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        try:
            yield browser
        finally:
            browser.close()


class Window:
    """One window on the app; remembers what it asked of other hosts and what its console complained of."""

    def __init__(self, browser: Any, address: str, size: tuple[int, int]) -> None:
        """`browser`, or a context of it: windows of one context fetch the app's own files once."""
        self.narrow = size[0] < 600
        self.page = browser.new_page()
        self.page.set_viewport_size({"width": size[0], "height": size[1]})
        self.page.set_default_timeout(PAGE_DRAWN_MS)
        self.outside: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda request: self._note_request(request.url, address))
        self.page.on("console", self._note_console)
        self.page.goto(address)
        self.settle()

    def _note_request(self, url: str, address: str) -> None:
        own = (address, address.replace("http", "ws", 1), "data:", "blob:")
        if not url.startswith(own):
            self.outside.append(url)

    def _note_console(self, message: Any) -> None:
        if message.type == "error":
            self.complaints.append(message.text)

    def settle(self) -> None:
        """Wait until the page is drawn: a title, and nothing running any more for a while. (On a busy machine
        the server takes its time to begin what a press asked for.)"""
        self.page.wait_for_selector("h1")
        self.page.wait_for_function(
            """quiet => {
                const app = document.querySelector('[data-testid="stApp"]');
                const now = performance.now();
                if (!app || app.dataset.testScriptState !== 'notRunning') { window.busyAt = now; }
                return now - (window.busyAt ??= now) >= quiet;
            }""",
            arg=QUIET_MS,
        )
        self.page.evaluate("delete window.busyAt")

    def go(self, label: str) -> None:
        """To another page by the menu, which on a phone has to be opened first."""
        if self.narrow:
            self.page.get_by_test_id("stExpandSidebarButton").click()
            link = self.page.get_by_test_id("stSidebarNavLink").filter(has_text=label)
        else:
            link = self.page.get_by_test_id("stTopNavLink").filter(has_text=label)
        here, there = urlsplit(self.page.url).path, urlsplit(link.get_attribute("href")).path
        link.click(delay=PRESS_MS)
        self.page.wait_for_url(lambda url: urlsplit(url).path == there)
        self.settle()
        close = self.page.get_by_test_id("stSidebarCollapseButton").get_by_role("button")
        if self.narrow and here == there:
            if close.is_visible():
                close.click()
        elif self.narrow:  # the menu goes by itself and leaves the page in sight
            self.page.wait_for_function(
                """() => !(document.querySelector('[data-testid="stSidebar"]')
                    ?.getBoundingClientRect().right > 0)"""
            )

    def drawn(self) -> None:
        """Wait until every picture is there and nothing fades or slides any more."""
        self.page.wait_for_function(DRAWN)

    def faults(self) -> dict[str, list[str]]:
        """What axe-core finds wrong on the page as it stands, and where."""
        from axe_playwright_python.sync_playwright import Axe

        self.drawn()
        found = Axe().run(self.page, options=WCAG).response["violations"]
        return {fault["id"]: [node["html"][:160] for node in fault["nodes"][:3]] for fault in found}

    def text(self) -> str:
        return str(self.page.get_by_test_id("stMain").inner_text()).replace("\u00a0", " ")

    def sees(self, words: str) -> None:
        """Wait for these words on the page."""
        self.page.get_by_test_id("stMain").get_by_text(words).first.wait_for()

    def gone(self, words: str) -> None:
        """Wait until these words are no longer on the page."""
        shown = self.page.get_by_test_id("stMain").get_by_text(words).filter(visible=True)
        shown.first.wait_for(state="hidden")

    def press(self, label: str) -> None:
        self.page.get_by_test_id("stMain").get_by_role("button", name=label).first.click()
        self.settle()

    def unfold(self, label: str) -> None:
        """Open a part of the page if it is folded."""
        part = self.page.get_by_test_id("stMain").locator("details").filter(has_text=label).first
        if part.get_attribute("open") is None:
            part.locator("summary").first.click()
        self.settle()

    def choose(self, label: str, option: str, place: int = 0) -> None:
        """An option of the box with this label, the first one or that many further down."""
        box = self.page.get_by_role("combobox", name=re.compile(label)).nth(place)
        box.scroll_into_view_if_needed()
        self.page.wait_for_timeout(500)  # a box that is still scrolled into sight closes again
        box.click()
        self.page.get_by_role("option", name=option, exact=True).click()
        self.settle()

    def open_job(self, title: str) -> None:
        """Open the job with this in its title from the list of jobs."""
        row = self.page.get_by_test_id("stVerticalBlock").filter(has_text=re.compile(title, re.IGNORECASE))
        row.filter(has=self.page.get_by_role("button", name="Open")).last.get_by_role(
            "button", name="Open"
        ).click()
        self.sees("Next:")
        self.settle()

    def bring_in(self, pack: Path) -> None:
        """A job from a zip, on the page of all jobs."""
        self.go("All jobs")
        self.unfold("Bring in a job from a zip")
        self.page.locator(UPLOAD).last.set_input_files(str(pack))
        self.sees("Brought in.")
        self.settle()

    def download(self, label: str, folder: Path) -> Path:
        self.settle()
        with self.page.expect_download() as waiting:
            self.page.get_by_role("button", name=label).click()
        target = folder / waiting.value.suggested_filename
        waiting.value.save_as(target)
        return target


def _wait_for(url: str, server: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + SERVER_STARTS_S
    while time.monotonic() < until:
        if server.poll() is not None:
            raise RuntimeError(f"the app stopped with status {server.returncode}")
        with contextlib.suppress(OSError), urllib.request.urlopen(url, timeout=2):
            return
        time.sleep(0.3)
    raise RuntimeError("the app did not start")
