"""Formats worked out from recorded bytes and typed displays: those that ship, and unseen ones."""

import math
import random
from functools import partial

import msgspec
import pytest

from drivers.frames.learning import learn
from drivers.frames.line_search import plausibility
from drivers.frames.recordings import Recording, parse_display
from drivers.frames.store import load, names
from drivers.links.link import decode_at_wrong_settings
from meterlink.errors import FaultFoundError, NotationError
from meterlink.reading import Quantity
from tests.drivers.made_formats import made_format, sent
from tests.drivers.recorded import ohm_scales, record, session, shown

NAMES = sorted(names())


def outcome(wire, learnt, seed=1, count=150):
    """Read what the meter would send later on: right, refused and wrong readings."""
    rng = random.Random(seed)
    encoder = wire.encoder()
    scales = [s for n in range(len(wire.description.modes)) for s in encoder.scales(n)]
    right = refused = wrong = 0
    for _ in range(count):
        scale = rng.choice(scales)
        value = float(scale.resolution * rng.randrange(1, min(scale.largest, 10**5)))
        data = encoder.frame(value, scale=scale)
        got = learnt.wire.decoder().feed(data * 4)[-1:]
        quantity = wire.description.modes[scale.mode].quantity
        true = None
        reader = wire.decoder()
        reader.expect_whole()
        for frame in reader.feed(data):
            true = frame
        if not got or true is None:
            refused += 1
            continue
        (frame,) = got
        same = frame.value == true.value or math.isclose(frame.value, true.value, rel_tol=1e-9)
        told = frame.status.quantity.value if frame.status.quantity else "none"
        if same and (told == quantity or quantity == "none"):
            right += 1
        else:
            wrong += 1
    return right, refused, wrong


@pytest.mark.parametrize("cut", [False, True], ids=["with pauses", "in one piece"])
@pytest.mark.parametrize("name", NAMES)
def test_every_format_that_ships_is_worked_out_from_six_displays(name, cut):
    wire = load(name)
    recordings = session(wire, cut=cut)
    learnt = learn(recordings, name="learnt")
    for recording in recordings:
        display = parse_display(recording.display)
        decoder = learnt.wire.decoder()
        frames = decoder.feed(b"".join(recording.bursts))
        assert frames
        assert all(frame.overload == display.over for frame in frames[1:])
    right, _, wrong = outcome(wire, learnt)
    assert wrong == 0
    assert right > 0


def test_formats_that_nobody_has_seen_are_worked_out_or_said_not_to_be():
    solved = 0
    for seed in range(40):
        wire = made_format(seed)
        try:
            learnt = learn(session(wire, seed), name="learnt")
        except FaultFoundError:
            continue
        solved += 1
        assert outcome(wire, learnt, seed, count=60)[2] == 0, learnt.toml
    assert solved >= 38


@pytest.mark.parametrize("cut", [False, True], ids=["with pauses", "in one piece"])
@pytest.mark.parametrize("varies", ["byte", "end"])
def test_frames_that_tell_their_length_are_worked_out(varies, cut):
    solved = 0
    for seed in range(20):
        wire, rng = made_format(seed, varies), random.Random(seed)
        shape = partial(sent, wire, rng=rng)
        try:
            learnt = learn(session(wire, seed, cut=cut, sent=shape), name="learnt")
        except FaultFoundError:
            continue
        solved += 1
        assert outcome(wire, learnt, seed, count=60)[2] == 0, learnt.toml
        later = shape(wire.encoder().frame(float(ohm_scales(wire)[0].resolution) * 456))
        assert len(learnt.wire.decoder().feed(later)) <= 1
    assert solved >= 16


def test_the_search_ends_when_its_time_is_over():
    shows = ["0.842 ohm", "5.13 ohm", "1.234 kohm", "OL Mohm", "7.89 ohm"]
    rng = random.Random(5)
    bursts = [(rng.randbytes(20),) * 6 for _ in shows]
    recordings = [Recording(*both) for both in zip(shows, bursts, strict=True)]
    with pytest.raises(FaultFoundError, match=r"within 0 s"):
        learn(recordings, budget_s=0.0)
    with pytest.raises(FaultFoundError):
        learn(recordings)


def test_what_is_not_settled_is_said_with_the_display_that_would_settle_it():
    wire = load("lcd-segments-14")
    one_each = [
        record(wire, value, scale)
        for value, scale in zip((0.842, 51.3, 769.0, 2.47e3), ohm_scales(wire)[:4], strict=False)
    ]
    notes = " ".join(learn(one_each).notes)
    assert "No two displays were on the same range" in notes
    assert "lift the probes" in notes
    assert "probes swapped" in notes


def test_without_pauses_the_beginning_is_said_to_be_unsure():
    wire = load("bcd-nibbles-8")
    for cut in (False, True):
        notes = " ".join(learn(session(wire, cut=cut)).notes)
        assert ("no pauses between frames" in notes) is cut


@pytest.mark.parametrize("name", ["lcd-segments-14", "ascii-digits-11", "bcd-nibbles-8"])
def test_bytes_heard_at_another_speed_look_less_like_the_display(name):
    wire = load(name)
    sent = wire.description.line
    right, wrong = [], []
    for value in (76.5, 34.6, 12.6, 84.2, 95.1):
        scale = next(s for s in ohm_scales(wire) if s.largest * s.resolution >= 90)
        frame, text = wire.encoder().frame(value, scale=scale), f"{value:.1f}"
        shows = shown(value, float(scale.resolution), "ohm")
        assert shows.startswith(text)
        right.append(plausibility(Recording(shows, (frame,) * 6)))
        for baud in {2400, 9600, 19200, 4800} - {sent.baud}:
            heard = decode_at_wrong_settings(frame, sent, msgspec.structs.replace(sent, baud=baud))
            wrong.append(plausibility(Recording(shows, (heard,) * 6)) if heard else 0)
    assert set(right) == {2}
    assert sum(grade == 2 for grade in wrong) <= 1


def test_flags_that_were_typed_are_found():
    wire = load("lcd-segments-14")
    recordings = session(wire)
    scale = ohm_scales(wire)[0]
    recordings.append(record(wire, 3.456, scale, flags=("hold",)))
    recordings.append(record(wire, 2.345, scale, flags=("battery_low",)))
    learnt = learn(recordings)
    (held,) = learnt.wire.decoder().feed(wire.encoder().frame(4.321, scale=scale, flags=["hold"]))
    assert held.status.told == ("hold",)
    assert held.value == pytest.approx(4.321)


def test_noise_between_is_passed_over():
    wire, rng = load("ascii-digits-14"), random.Random(3)
    recordings = [
        Recording(r.display, (rng.randbytes(5), *r.bursts, rng.randbytes(3))) for r in session(wire)
    ]
    assert outcome(wire, learn(recordings))[2] == 0


@pytest.mark.parametrize(
    "bursts", [(b"",), (b"\0" * 60,), (bytes(range(60)),), (b"hello\r\n" * 5,)]
)
def test_what_explains_nothing_gives_no_description(bursts):
    shows = ["0.842 ohm", "5.13 ohm", "1.234 kohm", "OL Mohm", "7.89 ohm"]
    with pytest.raises(FaultFoundError, match="no format explains"):
        learn([Recording(show, bursts) for show in shows])


@pytest.mark.parametrize("text", ["", "ohm", "0.842", "12 furlongs", "0.842 ohm sideways"])
def test_a_display_that_makes_no_sense_is_refused(text):
    with pytest.raises(NotationError):
        parse_display(text)


def test_displays_are_read_with_prefix_sign_and_signs_of_state():
    display = parse_display("-12.40 mV hold bat")
    assert (display.digits, display.decimals, display.negative) == ("1240", 2, True)
    assert display.quantity is Quantity.VOLTAGE
    assert float(display.resolution) == pytest.approx(1e-5)
    assert display.flags == {"hold", "battery_low"}
