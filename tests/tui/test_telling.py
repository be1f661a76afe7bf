"""Events in words."""

from meterlink.card import read_card
from meterlink.events import Gap
from tui.telling import Teller

CARD = read_card(
    b'format = 1\nid = "short"\ntitle = "Short"\n\n'
    b'[[step]]\nkind = "caution"\nid = "first"\ntitle = "First"\n'
    b'lines = ["Mind the \\u001b[31mtide."]\n',
    "short.toml",
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
