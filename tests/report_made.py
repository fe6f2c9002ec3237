"""What the tests of the report share: the page as a parser reads it, and the car that it is about."""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

from vibecore.case import Case
from vibecore.engine import Engine, Vehicle
from vibecore.model import Symptoms

GREY_VAN = Case("Grey van", Path("case.toml"), Vehicle(Engine(4)), Symptoms(), ())


class Page(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.values: list[str] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.values += [value or "" for key, value in attrs if key in ("src", "href", "xlink:href", "style")]

    def handle_data(self, data):
        self.text += data.replace("\u00a0", " ")
