"""A partner's recorded note, heard over and over, and a tone beside it that is brought to its pitch."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import gcd
from random import Random
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from tonegen.ear.lesson import HeldTones, lone_tone
from tonegen.ear.rendering import CHANNELS, RAMP_IN_SECONDS, Samples, SoundAgain
from tonegen.errors import BadValue, TonegenError
from tonegen.frozen import Frozen
from tonegen.listen.heard import heard
from tonegen.listen.spectrum import Expected
from tonegen.listen.takes import NoteFinder
from tonegen.pitch import hz_from_key
from tonegen.synthesis.bank import raised_cosine
from tonegen.words import rate, signed

# Where a tone starts from the note: far enough to hear, and no other note. Common practice, no source.
_START_CENTS: Final = (12.0, 40.0)
_GOOD_CENTS: Final = 3.0  # as in a lesson that sets a tone


@dataclass(frozen=True, slots=True, eq=False)
class RecordingNote(Frozen):
    """A note of a recording and its pitch. sound : shape (frames,). error_cents : how sure the pitch is."""

    sound: NDArray[np.float64]
    sample_rate: int
    hz: float
    error_cents: float

    def said_of(self, off_cents: float) -> str:
        """How near a tone came that was brought to it."""
        beats = self.hz * (2 ** (off_cents / 1200) - 1)
        return (
            f"You are {signed(off_cents, 1)} cents from it: {rate(beats)} between the first partials. "
            f"It is at {self.hz:.2f} Hz, within {2 * self.error_cents:.1f} cents."
        )


class SoundRecording(Protocol):
    """A recording that is read block by block, or in part."""

    sample_rate: int

    def blocks(self) -> Iterator[NDArray[np.float64]]:
        """All of it, each block of shape (frames,)."""

    def part(self, first: int, end: int) -> NDArray[np.float64]:
        """Frames `first` to `end`."""


def note_of(recording: SoundRecording) -> RecordingNote:
    """The note that sounds longest, the first of several. Raises BadValue where none can be told."""
    finder = NoteFinder(recording.sample_rate)
    for block in recording.blocks():
        finder.feed(block)
    notes = finder.notes()
    if not notes:
        raise BadValue("no note heard; it must sound by itself for half a second")
    longest = max(notes, key=lambda note: note.end - note.first)
    sound = recording.part(longest.first, longest.end)
    try:
        found = heard(sound, recording.sample_rate, [Expected(0, "", float(hz_from_key(longest.key)))])
    except TonegenError as unread:
        raise BadValue(f"its pitch cannot be told: {unread}") from None
    return RecordingNote(sound, recording.sample_rate, found.hz, found.error_cents)


def start_cents(draw: Random) -> float:
    """Where a tone starts from the note."""
    return draw.choice((-1, 1)) * draw.uniform(*_START_CENTS)


def is_there(off_cents: float) -> bool:
    """Whether a tone came near enough."""
    return abs(off_cents) <= _GOOD_CENTS


class NoteTogether:
    """The note over and over, and beside it, as loud, a tone that starts so many cents away."""

    def __init__(self, note: RecordingNote, start_cents: float, sample_rate: int) -> None:
        """Prepare both at the rate of the device."""
        self._tone = HeldTones(lone_tone(note.hz * 2 ** (start_cents / 1200)), sample_rate)
        sound = _at_rate(note.sound, note.sample_rate, sample_rate)
        ramp = raised_cosine(np.arange(frames := round(RAMP_IN_SECONDS * sample_rate)) / frames)
        sound[:frames] *= ramp
        sound[-frames:] *= ramp[::-1]
        sound *= self._tone.rms / np.sqrt(CHANNELS * np.mean(np.square(sound)))
        self._note = SoundAgain(np.repeat(sound[:, np.newaxis], CHANNELS, axis=1).astype(np.float32))
        self.peak = self._note.peak + self._tone.peak
        self.rms = float(np.hypot(self._note.rms, self._tone.rms))

    def move(self, cents: float) -> None:
        """Glide the tone so far from where it started."""
        self._tone.move(cents)

    def pull(self, out: Samples) -> None:
        """Fill the next block."""
        self._tone.pull(out)
        beside = np.empty_like(out)
        self._note.pull(beside)
        out += beside


def _at_rate(sound: NDArray[np.float64], rate: int, wanted: int) -> NDArray[np.float64]:
    from scipy.signal import resample_poly

    common = gcd(rate, wanted)
    return np.array(resample_poly(sound, wanted // common, rate // common), dtype=np.float64)
