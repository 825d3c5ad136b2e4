"""Find a tuning by the notes of its strings, in any octave, and transposed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from tonegen.tunings.records import StoredTuning


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
        unit = "semitone" if semitones == 1 else "semitones"
        return f"{semitones} {unit} {'higher' if self.transposed_semitones > 0 else 'lower'}"


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
