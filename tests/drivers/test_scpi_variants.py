"""Instruments that use the standard's freedoms are read as they come, without a description."""

import threading
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import pytest

from drivers import discovery
from drivers.opening import open_source
from drivers.scpi.answers import parse_measured
from drivers.scpi.dialect import check_dialect, read_dialect
from meterlink.errors import InvalidFileError
from meterlink.reading import Quantity
from meterlink.source import MeterSetup
from tests.drivers.scpi_serving import outcome, serving
from tests.drivers.scpi_variants import VARIANTS, Instrument, Variant

SLOW = {"a reading takes 2.6 s", "answers have no end at all"}
SILENT = {"no identity, no queue, no status; asked for by name", "no identity, but an error queue"}
"""Each query that they do not know costs the whole wait."""


@pytest.mark.parametrize("name", sorted(SILENT))
def test_an_instrument_that_says_little_is_read(name, monkeypatch):
    monkeypatch.setattr("drivers.scpi.conversation.OPTIONAL_S", 0.2)
    monkeypatch.setattr("drivers.scpi.conversation.ANSWER_S", 0.3)
    quick = discovery.Patience(first=0.3, other=0.2, listening=1.0)
    for step in ("ask", "find_out"):
        known = partial(getattr(discovery, step), patience=quick)
        monkeypatch.setattr(f"drivers.opening.{step}", known)
    assert outcome(next(variant for variant in VARIANTS if variant.name == name)) == ""


def test_every_variant_is_read():
    quick = [variant for variant in VARIANTS if variant.name not in SLOW | SILENT]
    assert len(quick) > 35
    with ThreadPoolExecutor(len(quick)) as pool:
        said = dict(zip((v.name for v in quick), pool.map(outcome, quick), strict=True))
    assert {name: why for name, why in said.items() if why} == {}


DIALECT = """
format = 1
name = "bench-34"
title = "Invented bench meter"
facts = "measured"
source = "this test"
identify = ""
never = ["SYST", "*"]
sets = false
states = { "NULL?" = "relative" }

[ask]
query = "VAL?"

[answer]
element = 1
over_words = ["BLANK"]

[[samples]]
answer = "7,842.0 OHM"
value = 842.0

[[samples]]
answer = "7,BLANK"
overload = true

[[samples]]
answer = "7,8x2"
refused = true
"""


class Odd(Instrument):
    """It knows two queries of its own and nothing of the standard."""

    null = b"0"

    def obey(self, text):
        known = {"VAL?": b"7,842.0 OHM", "NULL?": self.null}
        return known.get(text), 0


def test_an_instrument_unlike_all_others_is_read_by_its_description(tmp_path, monkeypatch):
    monkeypatch.setattr("drivers.scpi.conversation.OPTIONAL_S", 0.1)
    monkeypatch.setattr("drivers.scpi.conversation.ANSWER_S", 0.3)
    file = tmp_path / "bench-34.scpi.toml"
    file.write_text(DIALECT)
    check_dialect(read_dialect(file))
    odd = Odd(Variant("odd"))
    with serving(odd) as url:
        source = open_source(url, wire=str(file))
        setting = source.prepare(MeterSetup())
        reading = next(source.readings(threading.Event()))
        assert (reading.value, reading.quantity) == (842.0, Quantity.RESISTANCE)
        assert setting.flags == ()
        odd.null = b"1"
        assert source.confirm(MeterSetup()).flags == ("relative",)
        source.close()
    assert not [said for said in odd.heard if said.startswith(("SYST", "*"))]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("format = 1", "format = 9", "format 9 is not known"),
        ('"relative"', '"sideways"', "states.NULL"),
        ("query =", "querry =", "querry"),
        ("value = 842.0", "value = 8.0", r"samples\[0\]"),
    ],
)
def test_a_description_that_is_wrong_is_refused_by_its_key(tmp_path, old, new, said):
    file = tmp_path / "bench-34.scpi.toml"
    file.write_text(DIALECT.replace(old, new, 1))
    with pytest.raises(InvalidFileError, match=said):
        check_dialect(read_dialect(file))


@pytest.mark.parametrize(
    ("text", "value", "quantity"),
    [
        ("1.5 MOHM", 1.5e6, Quantity.RESISTANCE),  # SCPI-1999 volume 1, 7.3 (from memory)
        ("1.5 MV", 1.5e-3, Quantity.VOLTAGE),
        ("1.5 mV", 1.5e-3, Quantity.VOLTAGE),
        ("4.7kΩ", 4700.0, Quantity.RESISTANCE),
        ("72.1 F", 72.1, None),  # farads or degrees: it says neither
        ("RES:+8.4E2", 840.0, None),
    ],
)
def test_units_say_what_they_say(text, value, quantity):
    found = parse_measured(text)
    assert found.value == pytest.approx(value)
    assert found.quantity is quantity
