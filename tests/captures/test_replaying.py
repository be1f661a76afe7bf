"""What a header carries for a replay, and what keeps a replay from being exact."""

import msgspec
import pytest

from captures.record.records import PROGRAM, Header, decode, encode
from captures.record.replay import (
    LARGEST_PAST,
    Played,
    past_of,
    read_replay_setup,
    settings_for,
    settings_of,
)
from captures.record.writer import NOT_WRITTEN, RecordWriter
from meterlink.bench.bench import Bench
from meterlink.card import read_card
from meterlink.commands import Confirm, Enter, Skip
from meterlink.errors import UnreadableError
from meterlink.events import Asked, CommandReceived, Contact, Event, Gap, Note
from meterlink.profile import read_profile
from meterlink.reading import Reading
from meterlink.steps.watch import Dropout

CARD = read_card(
    b"""
format = 1
id = "short"
title = "Short"
[[step]]
kind = "caution"
id = "cautions"
title = "Cautions"
[[step]]
kind = "entry"
id = "ambient"
title = "Temperature"
takes = "temperature"
[[step]]
kind = "lead-zero"
id = "lead-zero"
title = "Lead zero"
[[step]]
kind = "measurement"
id = "primary"
title = "Primary"
winding = "primary"
""",
    "short.toml",
)
PROFILE = read_profile(
    b"""
format = 1
id = "pump"
name = "Pump"
[[winding]]
name = "primary"
between = ["a", "b"]
low = "0.7 ohm"
high = "1 ohm"
source = "invented"
""",
    "pump.toml",
)


def header(**settings: object) -> Header:
    return Header(
        started="2026-11-03T09:14:00.000+00:00",
        program=PROGRAM,
        settings=settings_for(CARD, PROFILE) | settings,
    )


def sat(bench: Bench) -> list[Event]:
    """Return what a short sitting makes happen."""
    events: list[Event] = list(bench.begin(0.0))
    events += bench.tell(Confirm(), 0.5)
    events += bench.tell(Enter(text="19 °C"), 1.0)
    for number in range(60):
        events += bench.feed(Reading(1.0 + number * 0.1, 0.13 + 1e-4 * (number % 3)))
    return events


def write(path, head: Header, records: list[Reading | Event]):
    with RecordWriter.create(path, head) as writer:
        for record in records:
            writer.append(record)
    return path


def played(path) -> Played:
    with Played(path) as found:
        for _ in found.moments():
            pass
    return found


def test_the_past_in_a_header_puts_a_bench_where_the_job_was():
    first = Bench(CARD, PROFILE)
    events = sat(first)
    events += first.tell(Skip(reason="no time"), 9.0)
    head = decode(encode(header(**settings_for(CARD, PROFILE, past=events))))
    assert isinstance(head, Header)
    again = read_replay_setup(head, "x").bench()
    assert again.progress.results == first.progress.results
    assert again.progress.lead_zero == first.progress.lead_zero
    assert again.progress.temperature == 19.0
    assert not any(
        isinstance(e, Contact | Asked | CommandReceived | Note) for e in past_of(head, "x")
    )


def test_a_past_that_is_too_long_is_left_out_and_it_is_said():
    dropouts = [Dropout(t=float(n), step="watch", lasted_s=0.1, depth=None) for n in range(9000)]
    assert sum(map(len, map(encode, dropouts))) > LARGEST_PAST
    settings = settings_for(CARD, PROFILE, past=dropouts)
    assert len(encode(header(**settings))) < LARGEST_PAST
    (said,) = read_replay_setup(header(**settings), "x").lacks
    assert said == "9000 events of the job before it are not in its header"


def test_a_past_that_makes_no_sense_is_a_sentence():
    with pytest.raises(UnreadableError, match="the header's past makes no sense"):
        read_replay_setup(header(past=[{"kind": "moon"}]), "x")


def test_a_header_without_policy_says_so():
    bare = msgspec.structs.replace(header(), settings=settings_of(CARD, PROFILE))
    (said,) = read_replay_setup(bare, "x").lacks
    assert "by what policy" in said


@pytest.mark.parametrize("policy", [{"least_readings": "many"}, {"taus": 7}])
def test_a_policy_that_does_not_fit_is_said_and_this_programs_taken(policy):
    found = read_replay_setup(header(policy=policy), "x")
    assert found.policy == settings_policy()
    assert "does not fit this program" in found.lacks[0]


def settings_policy():
    from meterlink.hold.policy import POLICY

    return POLICY


def test_readings_that_could_not_be_written_are_a_reason_to_differ(tmp_path):
    bench = Bench(CARD, PROFILE)
    records: list[Reading | Event] = [*bench.begin(0.0)]
    lost = Gap(t=0.2, until=0.9, why=NOT_WRITTEN)
    found = played(write(tmp_path / "x.jsonl", header(), [*records, lost]))
    assert found.replay.comparison.exact  # the gap is the writer's own word
    assert found.reasons() == [f"readings from 0.2 s to 0.9 s are missing: {NOT_WRITTEN}"]


def test_a_gap_that_the_bench_heard_of_is_replayed(tmp_path):
    bench = Bench(CARD, PROFILE)
    records: list[Reading | Event] = [*bench.begin(0.0)]
    for gap in (Gap(t=1.0, until=None, why="lost"), Gap(t=1.0, until=3.0, why="lost")):
        records += bench.gap(gap)
    found = played(write(tmp_path / "x.jsonl", header(), records))
    assert found.replay.comparison.exact
    assert found.reasons() == []


def test_notes_in_a_record_are_no_events_of_the_bench(tmp_path):
    records = [*Bench(CARD, PROFILE).begin(0.0), Note(t=0.5, text="rusty")]
    assert played(write(tmp_path / "x.jsonl", header(), records)).replay.comparison.exact


def test_records_of_a_newer_minor_version_are_passed_over_and_said(tmp_path):
    path = write(tmp_path / "x.jsonl", header(), [*Bench(CARD, PROFILE).begin(0.0)])
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([*lines[:-1], b'{"kind":"smell","t":1.0}\n', lines[-1]]))
    found = played(path)
    assert found.replay.comparison.exact
    assert found.reasons() == ["1 of its records are of kinds that this program lacks"]
