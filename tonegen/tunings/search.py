"""Find a tuning by the notes of its strings, in any octave, and transposed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from tonegen.pitch import parse_note, parse_pitch_class
from tonegen.tunings.records import StoredTuning
from tonegen.words import many


@dataclass(frozen=True, slots=True)
class FoundTuning:
    """A tuning that has the notes; transposed_semitones : how far above those that were asked for."""

    tuning: StoredTuning
    transposed_semitones: int

    @property
    def transposed(self) -> str:
        """In words; "" for the notes themselves."""
        semitones = abs(self.transposed_semitones)
        if not semitones:
            return ""
        return f"{many(semitones, 'semitone')} {'higher' if self.transposed_semitones > 0 else 'lower'}"


def parse_strings(text: str) -> tuple[int, ...]:
    """Pitch classes of notes with or without octaves. Raises BadValue.

    >>> parse_strings("D A3 F#")
    (2, 9, 6)
    """
    return tuple(
        parse_note(part) % 12 if part[-1:].isdigit() else parse_pitch_class(part) for part in text.split()
    )


def has_words(tuning: StoredTuning, words: Iterable[str]) -> bool:
    """Whether name, title and family of a tuning have all these words in them, or the beginnings of such."""
    written = f"{tuning.name} {tuning.title} {tuning.family}".lower()
    return all(word.lower() in written for word in words)


def found_by_strings(
    tunings: Iterable[StoredTuning], pitch_classes: Sequence[int]
) -> tuple[FoundTuning, ...]:
    """Tunings whose strings have these notes next to each other, in any octave.

    Those that are the whole tuning come first, and those that are not transposed before others.
    """
    found = []
    for tuning in tunings:
        if tuning.strings:
            have = [note.key % 12 for note in tuning.notes]
            runs = [
                have[start : start + len(pitch_classes)]
                for start in range(len(have) - len(pitch_classes) + 1)
            ]
            shifts = [shift for run in runs if (shift := _shift(run, pitch_classes)) is not None]
            if shifts:
                nearest = min(shifts, key=lambda shift: (abs(shift), shift))
                found.append((len(have) != len(pitch_classes), abs(nearest), FoundTuning(tuning, nearest)))
    return tuple(each for *_, each in sorted(found, key=lambda ranked: ranked[:2]))


def _shift(run: Sequence[int], asked: Sequence[int]) -> int | None:
    """How far the one lies above the other, from -5 to 6; None where they are not the same intervals."""
    shifts = {(there - wanted) % 12 for there, wanted in zip(run, asked, strict=True)}
    if len(shifts) != 1:
        return None
    shift = shifts.pop()
    return shift if shift <= 6 else shift - 12
