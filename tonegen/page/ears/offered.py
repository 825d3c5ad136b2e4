"""What a session of ear training can be made of, as a page offers it to touch."""

from collections.abc import Iterator
from typing import Final

from msgspec import Struct

from tonegen import presets
from tonegen.ear.planning import USUAL, spectrum_of
from tonegen.ear.session import Method
from tonegen.ear.trials import (
    HELD,
    WITH_THRESHOLD,
    Bed,
    Task,
    TrialKind,
    chord_name,
    half_a_beat_cents,
    parse_chords,
)
from tonegen.ear.words import SHORT
from tonegen.errors import TonegenError
from tonegen.interval import Ratio

# What a page offers to touch; the command line takes any other interval. Common practice, no source.
_INTERVALS: Final = ("1:1", "2:1", "3:2", "4:3", "5:4", "6:5", "5:3", "8:5", "7:4")
_TRIADS: Final = {"4:5:6": "major triad", "10:12:15": "minor triad"}
_REGISTERS: Final = {"": "E3 to E4", "E2,E3": "E2 to E3", "A2,A3": "A2 to A3", "A3,A4": "A3 to A4"}
_BEDS: Final = {Bed.NONE: "nothing", Bed.NOISE: "noise", Bed.CHORD: "a chord"}
_METHODS: Final = {
    Method.BAYES: "adaptive", Method.TWO_DOWN: "by steps, 2 down 1 up",
    Method.THREE_DOWN: "by steps, 3 down 1 up", Method.FIXED: "the sizes I give",
}  # fmt: skip
_SECONDS: Final = ("1", "", "4", "8")
_USUAL: Final = Task(TrialKind.PURER)
_WHAT_TO_DO: Final = {
    TrialKind.PURER: "Two sounds, one of them pure.",
    TrialKind.SIDE: "One sound to nudge: wide, pure or narrow?",
    TrialKind.SET: "Move a tone until the beats stop.",
    TrialKind.RATE: "Tap along on the pad or the space bar.",
    TrialKind.MATCH: "Move a tone until it beats like another.",
    TrialKind.NAME: "One sound: which interval it is.",
    TrialKind.ABX: "Can you hear an error of that size?",
    TrialKind.OWN: "Your grip as it is tuned, and two cents off.",
}


class Named(Struct, frozen=True):
    """Something to choose, by what it is asked for with, in words."""

    name: str
    words: str


class KindView(Struct, frozen=True):
    """A kind of trial, how many of it are usual, and by which method its errors are chosen.

    threshold : whether another method can be taken; cents : whether its errors have a size that can be given
    length : whether its sounds end by themselves
    """

    name: str
    words: str
    task: str
    trials: int
    method: str
    threshold: bool
    cents: bool
    length: bool


class Offered(Struct, frozen=True):
    """What a session can be made of."""

    kinds: tuple[KindView, ...]
    intervals: tuple[Named, ...]
    registers: tuple[Named, ...]
    timbres: tuple[Named, ...]
    beds: tuple[Named, ...]
    lengths: tuple[Named, ...]
    methods: tuple[Named, ...]


def offered() -> Offered:
    """What a page offers."""
    return Offered(
        kinds=tuple(
            KindView(
                kind,
                SHORT[kind],
                _WHAT_TO_DO[kind],
                USUAL[kind].trials,
                USUAL[kind].method,
                kind in WITH_THRESHOLD,
                kind not in (TrialKind.RATE, TrialKind.MATCH),
                kind not in HELD,
            )
            for kind in TrialKind
        ),
        intervals=(
            *(Named(text, chord_name(parse_chords(text)[0])) for text in _INTERVALS),
            *(Named(text, words) for text, words in _TRIADS.items()),
        ),
        registers=tuple(Named(text, words) for text, words in _REGISTERS.items()),
        timbres=(Named("", "dull to bright, in turn"), *_timbres()),
        beds=tuple(Named(bed, words) for bed, words in _BEDS.items()),
        lengths=tuple(
            Named(text, _length_in_words(float(text or sum(_USUAL.seconds) / 2))) for text in _SECONDS
        ),
        methods=tuple(Named(method, words) for method, words in _METHODS.items()),
    )


def _length_in_words(seconds: float) -> str:
    """How long, and what that allows where the usual register is lowest."""
    cents = half_a_beat_cents(seconds, _USUAL.low_hz[0], Ratio(3, 2))
    return f"{seconds:g} s: half a beat at {cents:.1f} cents"


def _timbres() -> Iterator[Named]:
    """The presets that trials can wear: harmonic, and with partials enough for a third to beat."""
    for name in presets.names("timbres"):
        try:
            if len(spectrum_of(presets.timbre(name), name)) >= 5:
                yield Named(name, name)
        except TonegenError:  # a user's own that is damaged, or no harmonic tone
            continue
