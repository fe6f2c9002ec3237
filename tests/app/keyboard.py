"""A person with a keyboard and no pointer: tabs from one thing to the next, and looks where the focus is."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Sequence
from pathlib import Path

from tests.app.browser import Window

MOST_TABS = 160  # more than any page has: whoever is not there by then is caught in a trap
BUSY = '[data-testid="stApp"]:not([data-test-script-state="notRunning"])'
CHOOSER_TRIES, CHOOSER_MS = 4, 10_000
BEGINS_MS = 1500
STILL = "*,*::before,*::after{transition:none!important;animation:none!important}"

NAME = """(() => {
  const e = document.activeElement, by = e.getAttribute('aria-labelledby');
  const label = e.labels && e.labels.length ? e.labels[0].innerText : '';
  const text = by ? by.split(' ').map(i => document.getElementById(i)?.innerText || '').join(' ') : '';
  // the whole page can be scrolled by keys, and has a focus of its own
  const own = e.innerText && e.innerText.length < 300 ? e.innerText : '';
  return (e.getAttribute('aria-label') || text || label || own || e.tagName).trim();
})()"""

# Does anything look different with the focus than without: the element, what holds it, and what is in it?
FOCUS_SEEN = """(async () => {
  const e = document.activeElement, around = [e];
  for (let i = 0; i < 4 && around[i].parentElement; i++) around.push(around[i].parentElement);
  const holder = around[Math.min(2, around.length - 1)];
  const near = [...around, ...e.querySelectorAll('*'), ...holder.querySelectorAll('*')].slice(0, 100);
  const looks = () => near.map(n => { const s = getComputedStyle(n);
    return [s.outlineStyle, s.outlineWidth, s.outlineColor, s.boxShadow, s.borderColor,
            s.backgroundColor, s.color].join('|'); }).join('\\n');
  const focused = looks();
  e.blur();
  await new Promise(done => setTimeout(done));  // until what hears of it has drawn itself anew
  const without = looks();
  e.focus({preventScroll: true});
  return focused !== without;
})()"""


class Keyboard:
    """Everything by keys. `still` must be called once on each newly loaded page."""

    def __init__(self, window: Window) -> None:
        self.window, self.page = window, window.page
        self.still()

    def still(self) -> None:
        self.page.add_style_tag(content=STILL)

    def key(self, *names: str) -> None:
        for name in names:
            self.page.keyboard.press(name)

    def name(self) -> str:
        return " ".join(str(self.page.evaluate(NAME)).split())

    def to(self, pattern: str, *, role: str = "") -> None:
        """Tab to what is so named; twice around the page at most."""
        passed = []
        for _ in range(MOST_TABS):
            self.key("Tab")
            passed.append(self.name())
            if re.search(pattern, passed[-1]) and (not role or self.role() == role):
                assert self.shows_focus(), f"the focus on '{passed[-1]}' cannot be seen"
                return
        raise AssertionError(f"'{pattern}' is not reached by Tab: {passed}")

    def role(self) -> str:
        return str(
            self.page.evaluate(
                "document.activeElement.getAttribute('role') || document.activeElement.tagName"
            )
        ).lower()

    def press(self, pattern: str, *, key: str = "Enter") -> None:
        """Tab there, press the key, and wait until the page has answered."""
        self.to(pattern)
        self.key(key)
        self.answered()

    def answered(self) -> None:
        """A quick answer may be over before it is seen to have begun."""
        from playwright.sync_api import TimeoutError as TooLate

        with contextlib.suppress(TooLate):
            self.page.wait_for_selector(BUSY, timeout=BEGINS_MS)
        self.window.settle()
        self.still()

    def choose(self, pattern: str, option: str) -> None:
        """The option of the box with this name, by typing what it begins with."""
        self.to(pattern)
        self.pick(option)

    def pick(self, option: str) -> None:
        """The option of the box that has the focus."""
        self.key("ArrowDown")
        self.page.keyboard.type(option)
        self.page.get_by_role("option", name=option).first.wait_for()
        self.key("Enter")
        self.answered()

    def write(self, pattern: str, text: str) -> None:
        self.to(pattern)
        self.page.keyboard.type(text)

    def files(self, pattern: str, files: Sequence[Path]) -> None:
        """The button opens the system's own window, which is not the app's: the files are named to it."""
        from playwright.sync_api import TimeoutError as TooLate

        for tries_left in reversed(range(CHOOSER_TRIES)):
            self.window.settle()  # a page that is still being drawn would take the button away again
            self.to(pattern)
            try:
                with self.page.expect_file_chooser(timeout=CHOOSER_MS) as waiting:
                    self.key("Enter")
                break
            except TooLate:  # it was taken away all the same: who is there presses once more
                if not tries_left:
                    raise
        waiting.value.set_files([str(f) for f in files])

    def shows_focus(self) -> bool:
        return bool(self.page.evaluate(FOCUS_SEEN))

    def walk(self) -> dict[str, bool]:
        """Tab through the whole page until it begins again: whether the focus is seen, by name, in order."""
        self.page.evaluate("document.activeElement.blur()")
        self.page.evaluate("window.__seen = []")
        again = """(() => { const e = document.activeElement, known = window.__seen.includes(e);
            window.__seen.push(e); return known || e === document.body; })()"""
        passed: dict[str, bool] = {}
        for _ in range(MOST_TABS):
            self.key("Tab")
            if self.page.evaluate(again):
                return passed
            name = self.name()
            passed[name] = self.shows_focus() and passed.get(name, True)
        raise AssertionError(f"the focus does not come round: {[*passed]}")
