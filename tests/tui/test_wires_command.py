"""``meterlink frames`` and ``meterlink simulate`` as a person meets them."""

import json
import socket
import subprocess
import sys
import threading
import time
from urllib.parse import urlsplit

import pytest

from drivers.frames.recordings import as_lines
from drivers.frames.store import SHIPPED, load
from drivers.simulated.serve import PtyPort
from drivers.simulated.streaming_meter import StreamingMeter
from tests.drivers.recorded import session
from tui.cli import main


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """No test sees, or depends on, what the person who runs it has configured."""
    folder = tmp_path / "config" / "frames"
    folder.mkdir(parents=True)
    monkeypatch.setattr("drivers.frames.store.user_folder", lambda: folder)
    return folder


def test_list_names_every_shape(capsys):
    assert main(["frames", "list"]) == 0
    out = capsys.readouterr().out
    assert all(file.stem in out for file in SHIPPED.glob("*.toml"))


def test_list_as_json_holds_the_facts(capsys):
    assert main(["frames", "list", "--json"]) == 0
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert {"name", "title", "facts", "source", "modes"} <= set(rows[0])
    assert len(rows) == len(list(SHIPPED.glob("*.toml")))


def test_what_it_was_once_called_still_works(own_folder, capsys):
    text = (SHIPPED / "lcd-segments-14.toml").read_text("utf-8")
    mine = text.replace('name = "lcd-segments-14"', 'name = "mine"')
    own_folder.with_name("wires").mkdir()
    (own_folder.with_name("wires") / "mine.toml").write_text(mine, "utf-8")
    assert main(["wires", "show", "mine"]) == 0
    assert "mine: " in capsys.readouterr().out
    assert main(["simulate", "--tcp", "--seconds", "0.1", "--wire", "mine", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["wire"] == "mine"
    for words in (["--help"], ["read", "--help"]):
        main(words)
        told = capsys.readouterr().out
        assert "frames" in told
        assert "wire" not in told


def test_own_description_is_listed_as_such(own_folder, capsys):
    text = (SHIPPED / "lcd-segments-14.toml").read_text("utf-8")
    mine = text.replace('name = "lcd-segments-14"', 'name = "mine"')
    (own_folder / "mine.toml").write_text(mine, "utf-8")
    assert main(["frames", "list"]) == 0
    (line,) = [line for line in capsys.readouterr().out.splitlines() if line.startswith("mine")]
    assert "your own" in line


def test_a_broken_description_of_ones_own_is_told_after_the_list(own_folder, capsys):
    (own_folder / "bad.toml").write_text("format = 1", "utf-8")
    assert main(["frames", "list"]) == 1
    told = capsys.readouterr()
    assert "lcd-segments-14" in told.out
    assert "bad.toml" in told.err
    # And a meter that needs another description is not kept from working.
    assert load("lcd-segments-14").name == "lcd-segments-14"


def test_show_says_where_the_facts_come_from(capsys):
    assert main(["frames", "show", "scpi-numbers"]) == 0
    out = capsys.readouterr().out
    assert "standard" in out
    assert "IEEE 488.2" in out
    assert "9600 or 115200 baud" in out


@pytest.mark.parametrize("file", sorted(SHIPPED.glob("*.toml")), ids=lambda file: file.stem)
def test_check_finds_what_ships_in_order(file, capsys):
    assert main(["frames", "check", str(file)]) == 0
    assert "in order" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('d = "2.3" }', 'd = "22.3" }', "digits.at[0].d: byte 22 lies outside the frame"),
        ('d = "2.3" }', 'd = "4.0" }', "digits.at[1]: overlaps digits.at[0] in byte 4"),
        ('"resistance"', '"ohms"', "modes[0].quantity: “ohms” is no quantity"),
        ("value = 0.842", "value = 842", "samples[0]: the frame “13 27 3D 4F 5F 62 77 85 9B A0"),
    ],
)
def test_check_names_the_key_and_the_frame_in_one_sentence(old, new, said, tmp_path, capsys):
    text = (SHIPPED / "lcd-segments-14.toml").read_text("utf-8")
    file = tmp_path / "mine.toml"
    file.write_text(text.replace(old, new, 1), "utf-8")
    assert main(["frames", "check", str(file)]) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert said in told.err
    assert len(told.err.splitlines()) == 1


def test_check_of_what_is_not_there(tmp_path, capsys):
    assert main(["frames", "check", str(tmp_path / "none.toml")]) == 4
    assert main(["frames", "check", str(tmp_path)]) == 4
    assert main(["frames", "show", "no-such-wire"]) == 2
    assert main(["frames", "sing"]) == 2
    assert all(line.startswith("meterlink: ") for line in capsys.readouterr().err.splitlines())


def read_from(port, size):
    where = urlsplit(port)
    with socket.create_connection((where.hostname, where.port), timeout=5) as peer:
        data = b""
        while len(data) < size:
            piece = peer.recv(4096)
            assert piece
            data += piece
    return data


def served(arguments, use):
    """Run ``simulate`` as its own process; hand its port to ``use``; stop it."""
    command = [sys.executable, "-m", "tui", "simulate", "--tcp", *arguments]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        guard = threading.Timer(20, process.kill)
        guard.start()
        try:
            assert process.stdout is not None
            word, port = process.stdout.readline().split()
            assert word == "port"
            assert f"--port {port}" in process.stdout.readline()
            return use(port)
        finally:
            guard.cancel()
            process.kill()


def test_simulate_says_its_port_and_sends_the_wire():
    data = served(
        ["--frames", "ascii-digits-11", "--rate", "200"], lambda port: read_from(port, 220)
    )
    frames = load("ascii-digits-11").decoder().feed(data)
    assert len(frames) >= 19


def test_simulate_for_a_while_ends_by_itself(capsys):
    assert main(["simulate", "--tcp", "--seconds", "0.1"]) == 0
    assert capsys.readouterr().out.startswith("port socket://127.0.0.1:")


def test_simulate_says_where_it_is_as_facts(capsys):
    assert main(["simulate", "--tcp", "--seconds", "0.1", "--frames", "polled-line", "--json"]) == 0
    (facts,) = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert facts["port"].startswith("socket://127.0.0.1:")
    assert facts["wire"] == "polled-line"


@pytest.mark.parametrize(
    "arguments",
    [
        ["--frames", "no-such-wire"],
        ["--frames", "lcd-segments-14", "--scpi"],
        ["--drop", "2"],
        ["--tcp", "70000"],
        ["--flag", "no-such-flag"],
        ["--scpi", "--flip"],
        ["--scenario", "open-secondary", "--wire", "lcd-segments-14"],
        ["--ohms", "many"],
        ["--rate", "0"],
        ["--seed", "-5"],
    ],
)
def test_what_makes_no_sense_is_refused_as_wrong_usage(arguments, capsys):
    assert main(["simulate", *arguments, "--seconds", "0.1"]) == 2
    told = capsys.readouterr()
    assert len(told.err.splitlines()) == 1


def test_simulate_a_bench_that_speaks_scpi():
    def identity(port):
        _, host, number, _ = port.split("::")
        with socket.create_connection((host, int(number)), timeout=5) as peer:
            peer.sendall(b"*IDN?\n")
            return peer.recv(200)

    assert served(["--scpi"], identity).count(b",") == 3


def test_an_unknown_meter_is_described_from_a_recording(tmp_path, own_folder, capsys):
    recording, made = tmp_path / "recorded.jsonl", tmp_path / "learnt.toml"
    recording.write_bytes(as_lines(session(load("bcd-nibbles-8")), None))
    said = main(["wires", "new", "learnt", "--recorded", str(recording), "--to", str(made)])
    assert said == 0
    out = capsys.readouterr().out
    assert "reads all 6 displays" in out
    assert "not settled: No negative value" in out
    assert main(["wires", "check", str(made)]) == 0


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
def test_an_unknown_meter_is_described_live(tmp_path, monkeypatch, capsys):
    wire = load("ascii-digits-14")
    values = iter([(7.699, "7.699 ohm"), (3.46, "3.460 ohm"), (689.2, "689.2 ohm")])
    shown: list[float] = []

    def now():
        while True:
            yield shown[-1] if shown else 7.699

    def typed(_prompt=""):
        value, text = next(values)
        shown.append(value)
        time.sleep(0.3)
        return text

    monkeypatch.setattr("builtins.input", typed)
    monkeypatch.setattr("drivers.frames.line_search._TRY_S", 0.3)
    made, kept = tmp_path / "learnt.toml", tmp_path / "kept.jsonl"
    with StreamingMeter(wire, PtyPort(), values=now(), rate_hz=20, mind_speed=True) as meter:
        asked = ["wires", "new", "learnt", "--port", meter.port.name, "--displays", "3"]
        assert main([*asked, "--to", str(made), "--keep", str(kept)]) == 0
    assert load(str(made)).description.line.baud == 2400
    assert kept.read_text().count("display") == 3
    assert "wrote" in capsys.readouterr().out


def test_a_recording_that_is_none_says_what_one_looks_like(tmp_path, capsys):
    recording = tmp_path / "recorded.jsonl"
    recording.write_text("[1, 2]\n")
    assert main(["wires", "new", "x", "--recorded", str(recording)]) == 4
    assert "is no recording" in capsys.readouterr().err
