"""What is wrong with a description is said in one sentence that names the key."""

import pytest

from drivers.frames.store import SHIPPED, check, load, load_all
from meterlink.errors import FaultFoundError, UnreadableError, UsageError


def shipped(name):
    return (SHIPPED / f"{name}.toml").read_text("utf-8")


def changed(name, old, new):
    text = shipped(name)
    assert text.count(old) >= 1, old
    return text.replace(old, new, 1)


LCD, A14, A11, BCD, TEXT = (
    "lcd-segments-14", "ascii-digits-14", "ascii-digits-11", "bcd-nibbles-8", "text-number-unit",
)  # fmt: skip

FAULTY = [
    (LCD, 'd = "2.3" }', 'd = "2.8" }', "digits.at[0].d: “2.8” is no bit"),
    (LCD, 'd = "2.3" }', 'd = "19.3" }', "digits.at[0].d: byte 19 lies outside the frame"),
    (LCD, 'd = "2.3" }', 'd = "4.0" }', "digits.at[1]: overlaps digits.at[0] in byte 4"),
    (LCD, 'd = "2.3" }', 'd = "2.1" }', "digits.at[0].d: another segment of this digit"),
    (LCD, 'd = "2.3" }', 'x = "2.3" }', "digits.at[0].x: no segment"),
    (LCD, 'auto = "0.1"', 'auto = "0.5"', "flags.auto: overlaps frame.sequence in byte 0"),
    (LCD, 'quantity = "resistance"', 'quantity = "resistence"', "modes[0].quantity: “resistence”"),
    (LCD, '"1   "', '"1  "', "overload.shown[1]: “1  ” must be 4 characters"),
    (LCD, 'flags = ["ohm", "beep"]', 'flags = ["ohm"]', "told by the same code and flags"),
    (LCD, 'flags = ["ohm"]', 'flags = ["ohms"]', "modes[0].flags: “ohms” is not in [flags]"),
    (LCD, '["kilo", "mega"]', '["kilo", "giga"]', "modes[0].prefixes: “giga” is not in [prefixes]"),
    (LCD, "length = 14", "length = 140", "frame.length"),
    (LCD, 'flag = "minus"', 'flag = "less"', "sign.flag: “less” is not in [flags]"),
    (LCD, "sequence = {", "sequenze = {", "unknown field `sequenze`"),
    (LCD, 'sequence = { nibble = "high", first = 1 }', "", "frame: has no sequence"),
    (LCD, "baud = 2400", "baud = 24", "line.baud"),
    (LCD, "value = 0.842", "value = 0.843", "samples[0]: the frame “13 27 3D 4F 5F 62 77 85 9B"),
    (LCD, "resolution = 0.001", "resolution = 0.01", "is read with a resolution of 0.001"),
    (LCD, "13 27 3D 4F", "13 27 3D", "13 bytes long, not 14"),
    (LCD, "13 27 3D 4F", "13 27 3D XY", "samples[0].hex: “13 27 3D XY"),
    (LCD, "slowest_hz = 2", "slowest_hz = 20", "rate.usual_hz: is less than slowest_hz"),
    (LCD, "format = 1", "format = 2", "format: 2 is not known here"),
    (A14, "at = [1, 2, 3, 4]", "at = [1, 2, 2, 4]", "overlaps digits.at[1] in byte 2"),
    (A14, "at = [1, 2, 3, 4]", "at = [1, 2, 3, 14]", "digits.at[3]: byte 14 lies outside"),
    (A14, "at = [1, 2, 3, 4]", 'at = [1, 2, 3, "4.high"]', "digits.at[3]: a digit in ascii"),
    (A14, 'hex = "0D 0A" }', 'hex = "0D 0A 0D" }', "frame.marks[1].at: byte 14 lies outside"),
    (A14, '"1" = 3', '"17" = 3', "point: code: “17” is no code"),
    (A14, 'plus = "+"', 'plus = "+-"', "sign.plus: holds the character for minus"),
    (A11, 'code = "1", resolution = 1,', 'code = "0", resolution = 1,', "is another range's"),
    (A11, 'code = "1", resolution = 1,', "resolution = 1,", "modes[0].ranges[1].code: missing"),
    (A11, 'function = "5"', "", "modes[1].function: missing"),
    (A11, "resolution = 0.1, full", "resolution = -0.1, full", "modes[0].ranges[0].resolution"),
    (A11, "largest = 3999", "largest = 39999", "largest is more than the digits can show"),
    (BCD, "at = 7 }", "at = 5 }", "frame.checksum.at: byte 5 is among those that it covers"),
    (BCD, 'kind = "sum"', 'kind = "parity"', "frame.checksum.kind"),
    (BCD, "84 20 00 68", "84 20 00 69", "is not read as a whole and sound frame"),
    (BCD, '"5.high", "5.low"', '"5.high", 5', "digits.at[4]: a digit in bcd is a half byte"),
    (TEXT, 'words = ["OL"', 'words = [" OL"', "overload.words: “ OL” may not begin"),
    (TEXT, 'encoding = "utf-8"', 'encoding = "ascii"', "cannot be written in ascii"),
    (TEXT, '"V" = 1,', '"V" = 1, "Vac" = 1,', "told by the same label and unit as modes[1]"),
    (TEXT, 'text = "0.842"\n', 'text = "0.842 ohm"\n', "must be refused, but is read"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "old", "new", "said"), FAULTY)
def test_fault_is_named_by_its_key(name, old, new, said, tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text(changed(name, old, new), "utf-8")
    with pytest.raises(FaultFoundError) as raised:
        check(load(file))
    assert said in str(raised.value)
    assert "\n" not in str(raised.value)
    assert raised.value.exit_code == 1


def test_not_toml_is_said(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text("name = [", "utf-8")
    with pytest.raises(FaultFoundError, match=r"mine\.toml is not TOML"):
        load(file)


def test_what_cannot_be_read_is_said(tmp_path):
    with pytest.raises(UnreadableError, match="there is no file"):
        load(tmp_path / "none.toml")
    with pytest.raises(UnreadableError, match="is a directory"):
        load(tmp_path)
    with pytest.raises(UsageError, match="no frame format called"):
        load("no-such-wire")


def test_own_descriptions_are_found_beside_those_that_ship_and_take_their_place(tmp_path):
    (tmp_path / "lcd-segments-14.toml").write_text(shipped(LCD), "utf-8")
    (tmp_path / "broken.toml").write_text("format = 1", "utf-8")
    renamed = shipped(BCD).replace(BCD, "my-gauge")
    (tmp_path / "another.toml").write_text(renamed, "utf-8")
    assert load("my-gauge", tmp_path).own
    wires, faults = load_all(tmp_path)
    by_name = {wire.name: wire for wire in wires}
    assert by_name[LCD].own
    assert not by_name[A14].own
    assert len(faults) == 1
    assert "broken.toml" in str(faults[0])


ONES_OWN = """
format = 1
name = "gauge-7"
title = "7-byte frame of a panel gauge"
facts = "defined here"
source = "Made up for this test, after the page that explains descriptions."

[line]
baud = 1200

[rate]
slowest_hz = 1
usual_hz = 1

[frame]
kind = "bytes"
length = 7
marks = [{ at = 0, hex = "02" }]
checksum = { kind = "xor", first = 1, last = 4, at = 5, written = "hex" }

[digits]
coding = "bcd"
at = ["1.high", "1.low", "2.high", "2.low"]

[point]
at = "3.high"
codes = { "0" = 0, "1" = 1, "2" = 2 }

[flags]
over = "4.7"
kilo = "4=k"

[overload]
flag = "over"

[[modes]]
quantity = "resistance"
assumed = false

[[samples]]
hex = "02 51 30 20 00 34 31"
value = 51.3
resolution = 0.01
"""


def test_a_description_of_ones_own_is_read_encoded_and_decoded(tmp_path):
    text = ONES_OWN.replace('kilo = "4=k"\n', "")
    file = tmp_path / "gauge-7.toml"
    file.write_text(text, "utf-8")
    wire = load(file)
    check(wire)
    assert wire.encoder().frame(51.3) == bytes.fromhex("02 51 30 20 00 34 31")
    # 51h xor 30h xor 20h is 41h: the checksum by hand.
    (frame,) = wire.decoder().feed(wire.encoder().frame(float("inf")))
    assert frame.overload


def test_a_flag_that_is_a_character_may_not_share_its_byte_with_a_bit(tmp_path):
    file = tmp_path / "gauge-7.toml"
    file.write_text(ONES_OWN, "utf-8")
    with pytest.raises(FaultFoundError, match=r"flags.kilo: overlaps flags.over in byte 4"):
        load(file)


def test_the_first_example_of_the_instructions_is_in_order(tmp_path):
    text = (SHIPPED.parent / "README.md").read_text("utf-8")
    example = text.split("```toml\n")[1].split("```")[0]
    file = tmp_path / "gauge-6.toml"
    file.write_text(example, "utf-8")
    check(load(file))
