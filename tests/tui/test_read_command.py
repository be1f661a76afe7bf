"""``meterlink read`` and ``meterlink meters`` over real sockets."""

import csv
import io
import json
import os
import signal
import subprocess
import sys

import pytest

from captures.record.readings_file import PlainReader
from tests.drivers.scripted import bench_meter, tcp_peer
from tui.cli import main

READ = [sys.executable, "-m", "tui", "read"]


@pytest.fixture
def port():
    meter = bench_meter()
    values = iter(["+1.00000000E+03", "+8.42000000E-01", "9.9E37", "9.91E37", "-1.5"])

    def answer(line):
        if line == b"READ?":
            return next(values, "5.0").encode() + b"\n"
        return meter(line)

    with tcp_peer(answer) as peer:
        yield peer.resource


def test_json_lines_have_the_agreed_keys_and_null_for_an_overload(port, capsys):
    assert main(["read", "--port", port, "--count", "4", "--json"]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    keys = ["t_s", "quantity", "value", "unit", "overload", "resolution"]
    assert all(list(line) == keys for line in lines)
    # The first value went into finding out how this meter is read.
    assert [line["value"] for line in lines] == [0.842, None, None, -1.5]
    assert [line["overload"] for line in lines] == [False, True, False, False]
    assert {(line["quantity"], line["unit"]) for line in lines} == {("resistance", "ohm")}
    assert lines[0]["resolution"] is None  # a meter that ranges itself has no one last digit


def test_csv_is_a_plain_readings_file(port, capsys, tmp_path):
    assert main(["read", "--port", port, "--count", "4", "--csv"]) == 0
    text = capsys.readouterr().out
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["value"] for row in rows] == ["0.842", "9.9e+37", "9.91e+37", "-1.5"]
    file = tmp_path / "readings.csv"
    file.write_text(text, encoding="utf-8")
    reader = PlainReader(file)
    readings = list(reader)
    reader.close()
    assert [reading.overload for reading in readings] == [False, True, False]
    assert reader.dropped == 1


def test_text_says_value_and_unit(port, capsys):
    assert main(["read", "--port", port, "--count", "3"]) == 0
    first, second, third = capsys.readouterr().out.splitlines()
    assert "s  842" in first or "s  0.842" in first
    assert second.endswith("over range")
    assert third.endswith("no number")


@pytest.mark.parametrize("count", ["0", "-1", "many"])
def test_a_count_that_makes_no_sense_is_wrong_usage(count, capsys):
    assert main(["read", "--port", "COM1", "--count", count]) == 2
    assert "count of 1 or more" in capsys.readouterr().err


def test_no_meter_is_exit_code_3_and_one_sentence(capsys):
    assert main(["read", "--port", "socket://127.0.0.1:1"]) == 3
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1


def test_a_reader_that_has_enough_ends_it_quietly(port):
    with subprocess.Popen(
        [*READ, "--port", port], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as run:
        assert run.stdout is not None
        run.stdout.readline()
        run.stdout.close()
        assert run.stderr is not None
        said = run.stderr.read()
        assert run.wait(10) == 0
    assert said == b""


@pytest.mark.skipif(os.name != "posix", reason="sends a POSIX signal")
def test_an_interrupt_is_exit_code_130_and_puts_the_meter_back():
    meter = bench_meter()
    with tcp_peer(meter) as peer:
        with subprocess.Popen(
            [*READ, "--port", peer.resource], stdout=subprocess.PIPE, stderr=subprocess.PIPE
        ) as run:
            assert run.stdout is not None
            run.stdout.readline()
            run.send_signal(signal.SIGINT)
            _, said = run.communicate(timeout=10)
        assert run.returncode == 130
    assert said == b""
    assert meter.settings["FUNC"] == '"VOLT:DC"'
    assert meter.heard[-1] == "SYST:LOC"


def test_meters_asks_a_port_and_says_what_it_is(port, capsys):
    assert main(["meters", "--port", port, "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert (facts["port"], facts["wire"], facts["maker"]) == (port, "scpi", "Invented")
    assert main(["meters", "--port", port]) == 0
    assert "answers as Invented Bench 1234" in capsys.readouterr().out


def test_meters_says_why_a_port_gives_nothing(capsys):
    assert main(["meters", "--port", "/no/such/port"]) == 3
    assert "there is no port /no/such/port" in capsys.readouterr().out


def test_meters_without_any_port_says_so(capsys, monkeypatch):
    monkeypatch.setattr("drivers.ports.list_ports", list)
    assert main(["meters"]) == 3
    assert "No serial port and no USB instrument" in capsys.readouterr().out
