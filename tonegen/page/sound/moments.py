"""What the engine's clock shows pages: which frame is heard when, and where each beat stands there."""

from collections.abc import Iterable, Iterator
from math import log10
from typing import Final

from msgspec import Struct

from tonegen.errors import BadValue
from tonegen.page.part import Pair
from tonegen.page.stage.stage import Stage

_SILENCE_DBFS: Final = -120.0


class ShownBeat(Struct, array_like=True, frozen=True):
    """Phase of a pair's beat at the moment's frame, 0 where it is loudest, and how fast it turns."""

    low: str
    high: str
    turns: float
    turns_per_second: float


class Moment(Struct, tag="moment", frozen=True):
    """What the engine's clock shows: beats at a frame, and which frame is heard when.

    stream : another one when the sound moved elsewhere; frames of two streams cannot be compared
    heard_at_ms : on the server's clock, which a `pong` relates to the page's own
    """

    stream: int
    frame: int
    heard_frame: int
    heard_at_ms: float
    sample_rate: int
    beats: tuple[ShownBeat, ...]
    peak_dbfs: float


def moment_of(stage: Stage, pairs: Iterable[Pair]) -> Moment:
    """This moment of the stage, with the beats of the pairs that sound there."""
    player = stage.player
    frame = player.frame
    heard = stage.heard()
    peak = player.take_peak()
    return Moment(
        stream=stage.stream,
        frame=frame,
        heard_frame=heard.frame if heard else frame,
        heard_at_ms=1000 * heard.at_seconds if heard else 0.0,
        sample_rate=player.sample_rate,
        beats=tuple(_beats(stage, pairs, frame)),
        peak_dbfs=20 * log10(peak) if peak > 1e-6 else _SILENCE_DBFS,
    )


def _beats(stage: Stage, pairs: Iterable[Pair], frame: int) -> Iterator[ShownBeat]:
    for pair in pairs:
        interval = pair.interval
        try:
            turns = stage.player.beat_phase_turns(pair.low, pair.high, interval.ratio, frame, pair.multiple)
        except BadValue:  # its coincident partials are not in this timbre, or above what is made
            continue
        yield ShownBeat(pair.low, pair.high, turns, interval.beats_per_second)
