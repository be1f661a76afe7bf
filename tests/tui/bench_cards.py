"""Cards and profiles for the screen's tests."""

from meterlink.card import Card, read_card
from meterlink.events import CardBegan, Entered, Event, StepEnded, Zeroed
from meterlink.profile import Profile, read_profile

PROFILE = b"""
format = 1
id = "club-pump"
name = "Rescue club pump (invented)"

[[winding]]
name = "primary"
between = ["primary terminal", "laminations"]
low = "0.7 ohm"
high = "1.0 ohm"
source = "invented"

[[winding]]
name = "secondary"
between = ["plug lead", "laminations"]
low = "4 kohm"
high = "7 kohm"
open_above = "200 kohm"
source = "invented"

[[switch]]
name = "stop switch"
between = ["stop wire", "block"]
positions = { stop = "closed", run = "open" }
source = "common practice, no published source"

[[insulation]]
name = "stop wire to block"
between = ["stop wire", "block"]
at_least = "1 Mohm"
source = "invented"

[[gap]]
name = "armature"
low = "0.25 mm"
high = "0.36 mm"
source = "invented"
"""

EVERY_KIND = b"""
format = 1
id = "every-kind"
title = "Every kind of step"

[[step]]
kind = "caution"
id = "cautions"
title = "Cautions"

[[step]]
kind = "entry"
id = "ambient"
title = "Temperature of the parts"
takes = "temperature"

[[step]]
kind = "entry"
id = "spark"
title = "Spark seen"
takes = "choice"
choices = ["blue", "yellow", "none"]

[[step]]
kind = "confirmation"
id = "lead-off"
title = "Plug lead off and earthed"

[[step]]
kind = "lead-zero"
id = "lead-zero"
title = "Lead zero"

[[step]]
kind = "measurement"
id = "primary"
title = "Primary winding"
winding = "primary"

[[step]]
kind = "switch-check"
id = "stop-switch"
title = "Stop switch"
switch = "stop switch"

[[step]]
kind = "watch"
id = "wire-watch"
title = "Stop wire, moved about"
between = ["stop wire", "block"]
lasts = "30 s"

[[step]]
kind = "soak"
id = "warm"
title = "Primary while it warms"
winding = "primary"
lasts = "20 s"
every = "2 s"

[[step]]
kind = "confirmation"
id = "stop-check"
title = "The engine stops"
say = "Does the engine stop when its stop control is let go?"

[[step]]
kind = "confirmation"
id = "sign-off"
title = "Sign off"
signs_off = true
requires = [{ step = "stop-check", was = ["yes"] }]
"""


def worked_up_to(step_id: str) -> list[Event]:
    """Return what a job's log says once every step before ``step_id`` is done."""
    outcomes = {
        "cautions": "acknowledged",
        "ambient": "done",
        "spark": "blue",
        "lead-off": "yes",
        "lead-zero": "done",
        "primary": "in-window",
        "stop-switch": "skipped",
        "wire-watch": "none",
        "warm": "steady",
        "stop-check": "skipped",
    }
    past: list[Event] = [CardBegan(t=0.0, card="every-kind", profile="club-pump")]
    for step, outcome in outcomes.items():
        if step == step_id:
            return past
        if step == "ambient":
            past.append(Entered(t=0.0, step=step, text="20", value=20.0, unit="celsius"))
        if step == "lead-zero":
            past.append(Zeroed(t=0.0, step=step, value=0.132, u=0.0005, dof=9.0, resolution=0.001))
        past.append(StepEnded(t=0.0, step=step, outcome=outcome))
    return past


def profile() -> Profile:
    """Return the rescue club's pump."""
    return read_profile(PROFILE, "club-pump.toml")


def card() -> Card:
    """Return a card with a step of every kind."""
    return read_card(EVERY_KIND, "every-kind.toml")
