"""Figures and pictures: their size is known beforehand, and none looks like another."""

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tui.announcing.forms import PHASE_PICTURES, VERDICT_FORMS, VERDICT_PICTURES
from tui.screen import figures
from tui.screen.figures import paint, rows_of

SHOWN = "0123456789OL-.kMGVmΩ"

texts = st.text(st.sampled_from(SHOWN), min_size=1, max_size=8)
scales = st.integers(1, 5)


@given(texts, scales)
def test_a_drawing_is_as_large_as_was_said(text, scale):
    drawn = figures.draw(text, scale)
    assert len(drawn) == figures.height(scale)
    assert {len(row) for row in drawn} == {figures.width(text, scale)}


@given(scales)
def test_no_two_figures_look_alike(scale):
    # O and zero are one shape, as on every display with seven strokes: over range shows OL.
    alike = {"O", "0"}
    drawn = {c: "\n".join(figures.draw(c, scale)) for c in SHOWN}
    for a, b in combinations(SHOWN, 2):
        if {a, b} != alike:
            assert drawn[a] != drawn[b], (a, b)


@given(st.lists(st.text("# ", min_size=7, max_size=7), min_size=1, max_size=9), scales)
def test_no_pixel_is_lost(bitmap, scale):
    pixels = sum(row.count("#") for row in bitmap)
    halves = {" ": 0, "▀": 1, "▄": 1, "█": 2}
    painted = paint(bitmap, scale)
    assert sum(halves[c] for row in painted for c in row) == pixels * scale * scale
    assert len(painted) == rows_of(len(bitmap), scale)


def test_a_picture_of_no_size_is_refused():
    with pytest.raises(ValueError, match="cannot be drawn"):
        paint(("#",), 0)


@pytest.mark.parametrize("pictures", [PHASE_PICTURES, VERDICT_PICTURES])
def test_every_stage_and_verdict_has_an_outline_of_its_own(pictures):
    painted = {key: tuple(paint(bitmap)) for key, bitmap in pictures.items()}
    assert len(set(painted.values())) == len(type(next(iter(pictures))))
    # Far enough apart to be told without reading: a dozen pixels of the hundred differ.
    for a, b in combinations(pictures.values(), 2):
        apart = sum(x != y for p, q in zip(a, b, strict=True) for x, y in zip(p, q, strict=True))
        assert apart >= 12


def test_short_forms_of_verdicts_differ_too():
    assert len(set(VERDICT_FORMS.values())) == len(VERDICT_FORMS) == len(VERDICT_PICTURES)
