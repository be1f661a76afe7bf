"""What a capture begins with: all that a bench needs to come to the same events again.

Card, profile and policy lie whole in the header's settings, so that a record says what it was
judged by, though files and program have changed since. So does the past of a job that was taken
up again, as far as the state of the bench is folded from it.
"""

from collections.abc import Iterable
from typing import Any, Final, NamedTuple, cast

import msgspec

from captures.record.records import Header, encode
from meterlink.bench.bench import Bench
from meterlink.card import BenchEvent, Card
from meterlink.declared import from_plain, to_plain
from meterlink.errors import UnreadableError
from meterlink.events import (
    Asked,
    CommandReceived,
    Contact,
    Entered,
    Event,
    Gap,
    Lift,
    Note,
    PassedOver,
)
from meterlink.hold.policy import POLICY, HoldPolicy
from meterlink.profile import Profile
from meterlink.source import Accuracy

LARGEST_PAST: Final = 1 << 19
"""Bytes of past that a header carries; more would come near the longest line."""

IN_THE_LOG: Final = "in the log"

_PASSED: Final = (Contact, Lift, PassedOver, Asked, CommandReceived, Gap, Note)
"""What changes nothing once it has passed: the state of a bench is folded from the rest."""


class ReplaySetup(NamedTuple):
    """What a bench is made from."""

    card: Card
    profile: Profile
    accuracy: tuple[Accuracy, ...]
    policy: HoldPolicy
    past: tuple[Event, ...]
    lacks: tuple[str, ...] = ()
    """What the record does not say, each a plain sentence: why a replay may differ."""
    confirms: bool = False
    """Whether the meter was asked before a held value counted."""

    def bench(self) -> Bench:
        """Return a fresh bench."""
        return Bench(
            self.card,
            self.profile,
            accuracy=self.accuracy,
            policy=self.policy,
            past=self.past,
            confirms=self.confirms,
        )


def settings_of(card: Card, profile: Profile) -> dict[str, Any]:
    """Return card and profile whole, for a job's header: what it is judged by from now on."""
    return {"card": to_plain(card), "profile": to_plain(profile)}


def settings_for(
    card: Card,
    profile: Profile,
    *,
    policy: HoldPolicy = POLICY,
    past: Iterable[Event] = (),
    confirms: bool = False,
) -> dict[str, Any]:
    """Return the settings of a capture's header that say what its bench was made from."""
    settings = settings_of(card, profile) | {"policy": msgspec.to_builtins(policy)}
    if confirms:
        settings["confirms"] = True
    folded = [
        _without_names(event)
        for event in past
        if isinstance(event, BenchEvent) and not isinstance(event, _PASSED)
    ]
    if sum(len(encode(event)) for event in folded) > LARGEST_PAST:
        settings["past_left_out"] = len(folded)
    elif folded:
        settings["past"] = [msgspec.to_builtins(event) for event in folded]
    return settings


def _without_names(event: Event) -> Event:
    """Return an event as a later capture needs it: a name stands in the log, where it can be
    struck, and changes nothing on the bench."""
    if isinstance(event, Entered) and event.value is None:
        return msgspec.structs.replace(event, text=IN_THE_LOG)
    return event


def past_of(header: Header, name: str) -> tuple[Event, ...]:
    """Return the events of the job before this capture, as far as its header carries them.

    Raises:
        UnreadableError: they do not make sense; ``name`` stands for the record.
    """
    try:
        past: list[Event] = msgspec.convert(
            header.settings.get("past", []), type=cast("Any", list[BenchEvent]), strict=False
        )
    except msgspec.ValidationError as fault:
        raise UnreadableError(f"{name}: the header's past makes no sense: {fault}") from fault
    return tuple(past)


def read_replay_setup(header: Header, name: str) -> ReplaySetup:
    """Return what the bench of a capture was made from.

    Raises:
        UnreadableError: the header does not say it; ``name`` stands for the record.
        InvalidFileError: what it says of card or profile makes no sense.
    """
    settings = header.settings
    if "card" not in settings or "profile" not in settings:
        raise UnreadableError(
            f"{name} does not say by what card and profile it was recorded, so it cannot be "
            "replayed; «meterlink analyse» reads it"
        )
    where = f"the header of {name}"
    policy, lacks = _policy_of(settings)
    if left_out := settings.get("past_left_out"):
        lacks = (*lacks, f"{left_out} events of the job before it are not in its header")
    return ReplaySetup(
        card=from_plain(settings["card"], Card, where),
        profile=from_plain(settings["profile"], Profile, where),
        accuracy=header.accuracy,
        policy=policy,
        past=past_of(header, name),
        lacks=lacks,
        confirms=bool(settings.get("confirms")),
    )


def _policy_of(settings: dict[str, Any]) -> tuple[HoldPolicy, tuple[str, ...]]:
    """Return the policy as recorded, as far as this program's policy has such numbers."""
    said = settings.get("policy")
    if not isinstance(said, dict):
        return POLICY, ("it does not say by what policy its values were held",)
    try:
        policy = msgspec.convert(said, HoldPolicy, strict=False)
    except msgspec.ValidationError as fault:
        return POLICY, (f"its policy does not fit this program: {fault}",)
    known = {field.name for field in msgspec.structs.fields(HoldPolicy)}
    unlike = sorted(known ^ set(said))
    if not unlike:
        return policy, ()
    return policy, (f"its policy and this program's differ in: {', '.join(unlike)}",)
