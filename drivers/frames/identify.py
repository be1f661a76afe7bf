"""Which frame format a stream of bytes is in, and how sure that is. No port, no clock.

Every candidate decodes the same bytes. Its score is the share of them that lies in whole and
sound frames, times the odds that those frames are no accident. Candidates that explain the bytes
equally well share the certainty among them, so nothing is sure that could as well be another.
"""

from collections.abc import Iterable, Sequence

import msgspec

from drivers.frames.frame_format import FrameFormat
from drivers.frames.framing import Frame
from drivers.links.link import LineSettings

SURE = 0.9
"""Confidence from which a format may be used without asking."""

_ENOUGH_BITS = 20.0
"""Evidence that is still put down to chance: there are some dozens of formats and settings to try,
and thousands of places in a stream where a frame could seem to begin."""


class Match(msgspec.Struct, frozen=True, kw_only=True):
    """How well one format fits."""

    wire: FrameFormat
    confidence: float
    """0 to 1; the confidences of all formats on the same bytes come to at most 1."""
    share: float
    """Share of the bytes that lie in sound frames, the cut-off ends of the stream left out."""
    frames: int
    """Sound frames."""
    newest: Frame | None
    """The last of them."""
    line: LineSettings | None
    """The settings that it was heard with; None where there is no line."""


class _Candidate:
    """One format listening in."""

    def __init__(self, wire: FrameFormat) -> None:
        self.wire = wire
        self._decoder = wire.decoder()
        self._lead: int | None = None
        self.frames = 0
        self.good_bytes = 0
        self.bits = 0.0
        self.newest: Frame | None = None

    def expect_whole(self) -> None:
        self._decoder.expect_whole()

    def feed(self, data: bytes) -> None:
        frames = self._decoder.feed(data)
        if frames and self._lead is None:
            # What was dropped until now is the rest of a frame that we came into the middle of,
            # as far as it can be that.
            self._lead = min(self._decoder.dropped_bytes, self.wire.longest)
        for frame in frames:
            self.frames += 1
            self.good_bytes += len(frame.data)
            self.bits += self.wire.evidence(frame)
            self.newest = frame

    @property
    def share(self) -> float:
        dropped = max(0, self._decoder.dropped_bytes - (self._lead or 0))
        seen = self.good_bytes + dropped
        return self.good_bytes / seen if self.good_bytes else 0.0

    @property
    def score(self) -> float:
        chance = float(2.0 ** min(0.0, _ENOUGH_BITS - self.bits))
        return self.share * (1 - chance)


class Listener:
    """Scores every format over one stream, heard with one line setting."""

    def __init__(
        self,
        wires: Iterable[FrameFormat],
        line: LineSettings | None = None,
        *,
        asked: FrameFormat | None = None,
    ) -> None:
        """Listen for ``wires``.

        Args:
            wires: candidates; those that only answer a command are left out.
            line: settings it is heard with; leaves out formats that are sent with others. None
                where there is no line, as on a socket.
            asked: the polled format whose command was sent; only this one can then be heard.
        """
        if asked is not None:
            candidates = [asked]
        else:
            candidates = [
                wire
                for wire in wires
                if wire.description.poll is None and (line is None or hears(line, wire))
            ]
        self._line = line
        self._candidates = [_Candidate(wire) for wire in candidates]
        self.heard_bytes = 0
        if asked is not None:
            self.expect_whole()

    def expect_whole(self) -> None:
        """Take what comes next for the beginning of a frame: the line was quiet, or asked."""
        for candidate in self._candidates:
            candidate.expect_whole()

    def feed(self, data: bytes) -> None:
        """Take bytes, in any cut."""
        self.heard_bytes += len(data)
        for candidate in self._candidates:
            candidate.feed(data)

    def ranking(self) -> list[Match]:
        """Return the formats that fit at all, the best first."""
        scores = {candidate: candidate.score for candidate in self._candidates}
        self._give_way(scores)
        # One part in all for what is not explained: an unknown format scores nowhere.
        total = max(1.0, sum(scores.values()))
        matches = [
            Match(
                wire=candidate.wire,
                confidence=score / total,
                share=candidate.share,
                frames=candidate.frames,
                newest=candidate.newest,
                line=self._line,
            )
            for candidate, score in scores.items()
            if score > 0
        ]
        return sorted(matches, key=lambda match: -match.confidence)

    @property
    def frames(self) -> int:
        """Sound frames of whatever format, enough to be sure of it or not."""
        return sum(candidate.frames for candidate in self._candidates)

    def best(self, at_least: float = SURE) -> Match | None:
        """Return the format that this is in, if that is sure enough."""
        ranking = self.ranking()
        return ranking[0] if ranking and ranking[0].confidence >= at_least else None

    @staticmethod
    def _give_way(scores: dict[_Candidate, float]) -> None:
        """A format that ships gives way to the user's own description that fits as well."""
        own = [score for candidate, score in scores.items() if candidate.wire.own]
        for candidate, score in scores.items():
            if own and not candidate.wire.own and score <= max(own):
                scores[candidate] = 0.0


def hears(line: LineSettings, wire: FrameFormat) -> bool:
    """Say whether a meter with this format may send with these settings."""
    return any(
        (line.baud, line.data_bits, line.parity) == (own.baud, own.data_bits, own.parity)
        for own in wire.settings
    )


def identify(
    data: bytes, wires: Sequence[FrameFormat], line: LineSettings | None = None
) -> list[Match]:
    """Return which of ``wires`` the bytes ``data`` are in, the best first; see ``Listener``."""
    listener = Listener(wires, line)
    listener.feed(data)
    return listener.ranking()
