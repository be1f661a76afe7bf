"""The whole screen at three sizes against what was looked at and found good.

A snapshot is the screen's characters in a text file, so that a change is read in a diff. To take
new ones after a change that was meant, delete the files and run the tests twice: a missing file
is written, and fails once.
"""

import asyncio
from math import inf
from pathlib import Path

import msgspec
import pytest

from meterlink.events import Asked, Contact, Held, Judged, Lift, StepBegan, StepEnded, Verdict
from meterlink.hold.contact import Stage
from meterlink.reading import Reading
from meterlink.steps.soak import SoakPoint
from meterlink.steps.watch import Dropout
from tests.tui.acting import ActedSession
from tests.tui.bench_cards import card, profile, worked_up_to
from tests.tui.looking import screen_text, settled
from tui.screen.app import BenchApp
from tui.screen.plotting import TraceView
from tui.settings import ScreenSettings

FOLDER = Path(__file__).parent / "snapshots"
SIZES = [(80, 24), (100, 30), (140, 40)]


def look(session, stage, value, *, corrected=None, t=9.0, remaining_s=None):
    """What is seen of a touch; None is over range."""
    live = session.bench.look()
    over = value is None
    return msgspec.structs.replace(
        live,
        stage=stage,
        reading=Reading(t=t, value=inf if over else value, overload=over, resolution=0.001),
        value=value,
        corrected=value if corrected is None else corrected,
        remaining_s=remaining_s,
    )


def held_and_judged(step, value, corrected, verdict):
    """A hold and its verdict, with every number given: nothing here depends on the engine."""
    return [
        Contact(t=8.0),
        Held(
            t=9.0, contact_t=8.0, value=value, readings=23,
            noise=0.001, resolution=0.001, u=0.0002, dof=22.0,
        ),
        Judged(
            t=9.0, step=step, contact_t=8.0, value=value, readings=23, corrected=corrected,
            u=0.013, verdict=verdict, probability=0.997, clear=True,
        ),
    ]  # fmt: skip


def nothing(session):
    pass


def probes_off(session):
    session.happen([], look(session, Stage.APART, None))


def settling(session):
    session.happen([Contact(t=8.0)], look(session, Stage.SETTLING, 1.41, corrected=1.278))


def held(session):
    events = held_and_judged("primary", 0.97, 0.842, Verdict.IN_WINDOW)
    session.happen(events, look(session, Stage.HELD, 0.97, corrected=0.842))


def above(session):
    events = held_and_judged("primary", 3.1, 2.97, Verdict.ABOVE)
    session.happen(events, look(session, Stage.HELD, 3.1, corrected=2.97))


def moved_on(session):
    held(session)
    events = [
        Lift(t=9.6, contact_t=8.0, held=True),
        StepEnded(t=9.6, step="primary", outcome="in-window"),
        StepBegan(t=9.6, step="stop-switch"),
        Asked(t=9.6, step="stop-switch", say="Probes on the stop wire and the block."),
    ]
    session.happen(events, look(session, Stage.APART, None, t=9.6))


def dropouts(session):
    events = [
        Dropout(t=3.2, step="wire-watch", lasted_s=0.31, depth=None),
        Dropout(t=5.9, step="wire-watch", lasted_s=0.08, depth=6.02),
    ]
    session.happen(events, look(session, Stage.HELD, 0.2, remaining_s=7.4))


def soak(session):
    points = [
        SoakPoint(t=2.0 * n, step="warm", value=0.97 + n / 100, temperature=20.0 + 2.6 * n)
        for n in range(12)
    ]
    session.happen(points, look(session, Stage.HELD, 1.09, remaining_s=576.0))


SCENES = {
    "cautions": ("cautions", nothing),
    "temperature": ("ambient", nothing),
    "choice": ("spark", nothing),
    "confirmation": ("lead-off", nothing),
    "lead-zero": ("lead-zero", probes_off),
    "settling": ("primary", settling),
    "held": ("primary", held),
    "moved-on": ("primary", moved_on),
    "above": ("primary", above),
    "dropouts": ("wire-watch", dropouts),
    "soak": ("warm", soak),
}


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("scene", SCENES)
async def test_the_screen_is_as_it_was_found_good(scene, size):
    at, act = SCENES[scene]
    session = ActedSession(card(), profile(), worked_up_to(at))
    app = BenchApp(session, title="pump 3, no spark", settings=ScreenSettings(tones=False))
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        await asyncio.to_thread(act, session)
        await settled(pilot)
        app._tick()
        app.query_one(TraceView).show(app.view, at_once=True)
        await settled(pilot)
        seen = screen_text(app) + "\n"
    path = FOLDER / f"{scene}-{size[0]}x{size[1]}.txt"
    if not path.exists():
        path.parent.mkdir(exist_ok=True)
        path.write_text(seen, encoding="utf-8")
        pytest.fail(f"{path.name} was not there and is written now; look at it and run again")
    assert seen == path.read_text(encoding="utf-8")


def test_every_row_fits_its_screen():
    for path in FOLDER.glob("*.txt"):
        columns, rows = map(int, path.stem.rsplit("-", 1)[1].split("x"))
        lines = path.read_text(encoding="utf-8").splitlines()
        assert len(lines) <= rows
        assert max(map(len, lines)) <= columns
