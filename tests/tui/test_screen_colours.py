"""Themes: readable contrast, and good told from bad by every common colour vision.

Outside measures: contrast after WCAG 2.2 (relative luminance and ratio, success criterion 1.4.3,
4.5 to 1 for text), colour vision after Machado, Oliveira and Fernandes (2009) and colour distance
CAM02-UCS, both as the library colorspacious computes them.
"""

import re
import warnings
from itertools import combinations

import pytest
from textual.color import Color

from tests.tui.acting import ActedSession
from tests.tui.bench_cards import card, profile, worked_up_to
from tests.tui.looking import settled
from tui.screen.app import BenchApp
from tui.screen.themes import DARK, LIGHT, PLAIN
from tui.settings import ScreenSettings

COLOURED = [DARK, LIGHT]
NEWS = ("good", "bad", "unsure")


def luminance(colour: str) -> float:
    """Relative luminance of WCAG 2.2."""
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
        for c in Color.parse(colour).normalized
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", COLOURED, ids=lambda theme: theme.name)
def test_every_text_stands_out_from_every_ground(theme):
    texts = [theme.foreground, *(theme.variables[name] for name in (*NEWS, "quiet"))]
    for ground in (theme.background, theme.surface, theme.panel):
        for text in texts:
            assert contrast(text, ground) >= 4.5, (text, ground)


@pytest.mark.parametrize("theme", COLOURED, ids=lambda theme: theme.name)
@pytest.mark.parametrize("vision", ["normal", "protanomaly", "deuteranomaly", "tritanomaly"])
def test_good_bad_and_unsure_differ_to_every_eye(theme, vision):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its docstrings have unknown escapes
        colorspacious = pytest.importorskip("colorspacious")
    space: object = "sRGB1"
    if vision != "normal":
        space = {"name": "sRGB1+CVD", "cvd_type": vision, "severity": 100}
    seen = {name: Color.parse(theme.variables[name]).normalized for name in NEWS}
    for a, b in combinations(NEWS, 2):
        distance = colorspacious.deltaE(seen[a], seen[b], input_space=space)
        # A just noticeable difference is about one; good and bad are far beyond it.
        assert distance > (20 if "good" in (a, b) else 12), (a, b, distance)


def test_the_plain_theme_has_no_colour():
    values = [PLAIN.primary, PLAIN.foreground, PLAIN.background, *PLAIN.variables.values()]
    assert set(values) == {"ansi_default", "reverse"}


COLOUR = re.compile(r"\x1b\[[0-9;]*m")


@pytest.mark.parametrize("theme", ["bench-dark", "bench-light", "bench-plain", "nord"])
async def test_the_same_is_said_in_every_theme(theme):
    """All that is shown is in characters: no theme says more or less than another."""
    texts = []
    for chosen in ("bench-dark", theme):
        session = ActedSession(card(), profile(), worked_up_to("primary"))
        settings = ScreenSettings(theme=chosen, tones=False)
        app = BenchApp(session, title="pump 3", settings=settings)
        async with app.run_test(size=(80, 24)) as pilot:
            await settled(pilot)
            session.touch(1.4)
            texts.append((await settled(pilot)).splitlines()[1:13])
    assert texts[0] == texts[1]
    assert any("above limits" in line for line in texts[0])


async def test_no_colour_is_used_where_none_is_wanted(monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    session = ActedSession(card(), profile(), worked_up_to("primary"))
    app = BenchApp(session, title="pump 3", settings=ScreenSettings(tones=False))
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        session.touch(1.4)
        await settled(pilot)
        assert app.theme == "bench-plain"
        for strip in app.screen._compositor.render_strips():
            for segment in strip:
                style = segment.style
                for colour in () if style is None else (style.color, style.bgcolor):
                    assert colour is None or colour.is_default, (segment.text, colour)
