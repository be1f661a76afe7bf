"""Choosing job, meter, profile and card on one page."""

import threading
from contextlib import asynccontextmanager

from textual.widgets import Input, OptionList

from meterlink.errors import MeterError
from tests.tui.looking import screen_text
from tui.screen.choosing import Choice, ChooseApp, ListEntry, Meter, Offer

OFFER = Offer(
    jobs=[ListEntry("2026-11-02-pump-7", "Pump 7, no spark"), ListEntry("2026-11-01-pump-3")],
    profiles=[ListEntry("pump-set-demo", "Portable pump set"), ListEntry("chain-saw-a")],
    cards=[ListEntry("ignition-check", "Armature and stop switch"), ListEntry("no-spark")],
    usual=Choice(profile="chain-saw-a", card="ignition-check"),
)
FOUND = [Meter("/dev/ttyUSB0", "scpi", "bench meter 4021"), Meter("COM9", "", "[/x]\x1b[2J")]


@asynccontextmanager
async def page(offer=OFFER, meters=lambda: FOUND, size=(100, 30), wait=True):
    app = ChooseApp(offer, meters)
    async with app.run_test(size=size) as pilot:
        if wait:
            await app.workers.wait_for_complete()
        await pilot.pause()
        yield pilot


async def test_what_is_known_is_chosen_beforehand_and_one_key_begins():
    async with page() as pilot:
        await pilot.press("ctrl+g")
        await pilot.pause()
    assert pilot.app.return_value == Choice(
        port="/dev/ttyUSB0", wire="scpi", profile="chain-saw-a", card="ignition-check"
    )


async def test_everything_can_be_chosen_by_keys():
    async with page() as pilot:
        await pilot.press("down", "enter")  # the job; enter goes on
        for _ in range(2):  # title, meter
            await pilot.press("tab")
        await pilot.press("tab")  # port
        await pilot.press("up", "enter", "down", "enter", "enter")
        await pilot.pause()
    assert pilot.app.return_value == Choice(
        job="2026-11-02-pump-7",
        port="/dev/ttyUSB0",
        wire="scpi",
        profile="pump-set-demo",
        card="no-spark",
    )


async def test_a_new_job_gets_its_title_and_a_port_can_be_typed():
    async with page(meters=list) as pilot:
        assert "No meter was found" in screen_text(pilot.app)
        await pilot.press("ctrl+g")
        await pilot.pause()
        assert "There is no meter yet" in screen_text(pilot.app)
        pilot.app.screen.query_one("#title", Input).value = "Pump 9"
        pilot.app.screen.query_one("#port", Input).value = "TCPIP::10.0.0.9::5025::SOCKET"
        await pilot.click("#begin")
        await pilot.pause()
    choice = pilot.app.return_value
    assert choice.title == "Pump 9"
    assert choice.port == "TCPIP::10.0.0.9::5025::SOCKET"
    assert choice.job == ""


async def test_the_page_can_be_worked_while_meters_are_looked_for():
    go_on = threading.Event()

    def slow():
        go_on.wait(10)
        return FOUND

    async with page(meters=slow, wait=False) as pilot:
        assert "Looking for meters" in screen_text(pilot.app)
        await pilot.press("down")
        assert pilot.app.screen.query_one("#job", OptionList).highlighted == 1
        go_on.set()
        await pilot.app.workers.wait_for_complete()
        await pilot.pause()
        assert "ttyUSB0" in screen_text(pilot.app)


async def test_what_a_meter_calls_itself_is_only_text():
    async with page() as pilot:
        text = screen_text(pilot.app)
        assert "[/x]" in text
        assert all(c == "\n" or c.isprintable() for c in text)


async def test_a_search_that_fails_is_said():
    def fails():
        raise MeterError("the ports cannot be listed; type one")

    app = ChooseApp(OFFER, fails)
    async with app.run_test(size=(100, 30)) as pilot:
        for _ in range(500):
            await pilot.pause(0.01)
            if "cannot be listed" in screen_text(app):
                break
        assert "the ports cannot be listed; type one" in screen_text(app)


async def test_leaving_chooses_nothing():
    async with page() as pilot:
        await pilot.press("escape")
        await pilot.pause()
    assert pilot.app.return_value is None


async def test_it_fits_the_smallest_screen():
    async with page(size=(80, 24)) as pilot:
        text = screen_text(pilot.app)
        for shown in ("job", "meter", "profile", "card", "Begin", "ctrl+g", "esc"):
            assert shown in text.replace("^g", "ctrl+g")


async def test_the_marked_profile_s_limits_and_their_sources_are_in_sight():
    async with page(size=(80, 24)) as pilot:
        text = screen_text(pilot.app)
        assert "there is no profile" in text  # of the invented list, the second is on no shelf
        pilot.app.screen.query_one("#profile", OptionList).highlighted = 0
        await pilot.pause()
        text = screen_text(pilot.app)
        assert "0.7 Ω to 1 Ω at 20 °C" in text
        assert "invented for" in text
        await pilot.pause()
        assert "down: more" in screen_text(pilot.app)
        await pilot.resize_terminal(140, 60)
        await pilot.pause()
        await pilot.pause()
        text = screen_text(pilot.app)
        assert "down: more" not in text
        assert "tank screws" in text


async def test_a_meter_that_is_there_comes_before_the_one_used_last():
    gone = Offer(
        profiles=OFFER.profiles,
        cards=OFFER.cards,
        usual=Choice(port="/dev/ttyACM7", profile="pump-set-demo", card="no-spark"),
    )
    async with page(gone) as pilot:
        await pilot.press("ctrl+g")
        await pilot.pause()
    assert pilot.app.return_value.port == "/dev/ttyUSB0"
