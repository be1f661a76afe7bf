"""Events in words."""

from meterlink.card import read_card
from meterlink.events import Gap, StepEnded
from meterlink.steps.watch import Dropout
from tui.announcing.teller import Teller

CARD = read_card(
    b'format = 1\nid = "short"\ntitle = "Short"\n\n'
    b'[[step]]\nkind = "caution"\nid = "first"\ntitle = "First"\n'
    b'lines = ["Mind the \\u001b[31mtide."]\n',
    "short.toml",
)
WATCHES = read_card(
    b'format = 1\nid = "watches"\ntitle = "Watches"\n\n'
    b'[[step]]\nkind = "caution"\nid = "first"\ntitle = "First"\n\n'
    b'[[step]]\nkind = "watch"\nid = "through"\ntitle = "Through"\n'
    b'between = ["stop wire", "block"]\nlasts = "10 s"\nexpect = "closed"\n\n'
    b'[[step]]\nkind = "watch"\nid = "apart"\ntitle = "Apart"\n'
    b'between = ["stop wire", "block"]\nlasts = "10 s"\nexpect = "open"\n',
    "watches.toml",
)
AWAY = "/dev/ttyUSB0 no longer answers; plug the meter in again"


def test_a_gap_is_told_when_it_begins_with_the_mend_and_when_it_is_over_without():
    teller = Teller(CARD)
    assert teller.tell(Gap(t=4.0, until=None, why=AWAY)) == f"gap: {AWAY}"
    over = teller.tell(Gap(t=4.0, until=10.5, why=AWAY))
    assert over == "readings go on after a gap of 6.5 s: /dev/ttyUSB0 no longer answers"


def test_a_cards_own_cautions_come_after_the_standing_ones_made_harmless():
    last = Teller(CARD).cautions("first")[-1]
    assert last.startswith("Mind the ")
    assert last.endswith("[31mtide.")
    assert "\x1b" not in last


def test_a_wire_that_must_stay_open_closes_at_times_and_has_no_dropouts():
    teller = Teller(WATCHES, ohm_sign=False)
    told = {}
    for step in ("through", "apart"):
        moment = Dropout(t=4.0, step=step, lasted_s=0.31, depth=25.0)
        ends = [StepEnded(t=9.0, step=step, outcome=outcome) for outcome in ("none", "some")]
        told[step] = [teller.tell(event) for event in (moment, *ends)]
    assert told["through"] == [
        "dropout of 0.31 s, 25 ohm",
        "done: Through: no dropouts",
        "done: Through: dropouts",
    ]
    assert told["apart"] == [
        "closed for 0.31 s, 25 ohm",
        "done: Apart: stayed open",
        "done: Apart: closed at times",
    ]
