"""A page as a real browser sees it; skips where there is no browser."""

import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")

_QUIET = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def browse(page: Path, scratch: Path, *flags: str) -> str:
    """Open ``page`` and return what the browser prints; it keeps its own files in ``scratch``."""
    if BROWSER is None:
        pytest.skip("there is no browser to look with")
    done = subprocess.run(
        [BROWSER, *_QUIET, f"--user-data-dir={scratch / 'browser'}", *flags, page.as_uri()],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    return done.stdout


class Seen(HTMLParser):
    """What stands in a page: its elements, attributes and words."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self._texts: list[str] = []
        self._open: list[str] = []
        self.title = ""
        self.feed(html)

    @property
    def text(self) -> str:
        """The words, white space made one."""
        return " ".join(" ".join(self._texts).split())

    def handle_starttag(self, tag, attrs):
        self.elements.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]
        if tag in ("title", "style"):
            self._open.append(tag)

    def handle_endtag(self, tag):
        if self._open and self._open[-1] == tag:
            self._open.pop()

    def handle_data(self, data):
        if self._open == ["title"]:
            self.title += data
        elif not self._open:
            self._texts.append(data)
