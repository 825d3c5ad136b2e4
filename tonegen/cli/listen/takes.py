"""tonegen listen takes."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from pathlib import Path
from typing import Any, Final

import click
import numpy as np

from tonegen.cli.listen.asked import RECORDED
from tonegen.cli.show import as_json, print_json, print_sentence, print_table
from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.listen.heard import UnreadSound, moved
from tonegen.listen.spectrum import Expected
from tonegen.listen.takes import MOST_SEMITONES, NoteFinder, TakenNote, paired, would_beat
from tonegen.pitch import hz_from_key, note_name
from tonegen.sound.recordings import Recording
from tonegen.words import many, rate, signed

_DIFFERS_CENTS: Final = 1.0
_SURE: Final = 3.0
_LEAST_ERROR_CENTS: Final = 0.03  # two strokes of one note are not alike beyond that
_COMMON_CENTS: Final = 0.3
_SAME_TUNE: Final = 0.5
_ELSEWHERE: Final = 0.8


@dataclass(frozen=True, slots=True)
class _Compared(Frozen):
    """A note in both takes. cents : how far the second's lies higher; beats : at its strongest partials."""

    note: str
    first_seconds: float
    second_seconds: float
    cents: float
    error_cents: float
    beats: tuple[tuple[float, float], ...]


@click.command()
@click.argument("first", type=click.Path(path_type=Path))
@click.argument("second", type=click.Path(path_type=Path))
@as_json
def command(first: Path, second: Path, in_json: bool) -> None:
    """Hear which notes differ between two takes, by how much, and whether that would beat.

    FIRST and SECOND are WAV or FLAC files of one tune, one note at a time: picked, bowed or barred. What all
    notes
    have in common is said once, and counts as no difference.

    \b
    tonegen listen takes before.wav after.wav
    tonegen listen takes monday.flac tuesday.flac --json
    """
    with Recording(first) as one, Recording(second) as other:
        notes = _notes(one, first), _notes(other, second)
        found = paired(*notes)
        fewest = min(map(len, notes))
        # All of a tune that is elsewhere fits there; of another one, a few notes fit somewhere.
        share = _ELSEWHERE if abs(found.semitones) >= MOST_SEMITONES else _SAME_TUNE
        if len(found.pairs) < share * fewest:
            raise BadValue(
                f"{second}: another tune than {first}: {len(found.pairs)} of {many(fewest, 'note')} are the "
                "same; give two takes of one tune"
            )
        if abs(found.semitones) >= MOST_SEMITONES:
            where = "higher" if found.semitones > 0 else "lower"
            raise BadValue(
                f"{second}: all of it lies about {abs(found.semitones):g} semitones {where} than {first}; is "
                f"its sample rate right, {other.sample_rate} Hz? Mend its header, or record it again"
            )
        compared, why_not = [], []
        for place, another in found.pairs:
            before, after = notes[0][place], notes[1][another]
            try:
                compared.append(_compared(one, other, before, after, found.semitones))
            except UnreadSound as why:
                why_not.append(f"At {before.seconds:.2f} s: {why}")
    if not compared:
        raise BadValue(f"{second}: no note can be compared with {first}: {why_not[0]}")
    common = float(np.median([each.cents for each in compared]))
    # Two recorders, and each note's own error, by how many there are.
    common_error = hypot(
        sqrt(2) * RECORDED.error_cents,
        float(np.median([each.error_cents for each in compared])) / sqrt(len(compared)),
    )
    different = [each for each in compared if _differs(each, common)]
    lone = tuple(len(each) - len(found.pairs) for each in notes)
    if in_json:
        print_json({
            "common_cents": common, "common_error_cents": common_error,
            "notes": [
                {
                    "note": each.note, "first_seconds": each.first_seconds,
                    "second_seconds": each.second_seconds, "cents": each.cents,
                    "error_cents": each.error_cents, "differs": _differs(each, common),
                    "beats": [{"hz": hz, "beats_per_second": beats} for hz, beats in each.beats],
                }
                for each in compared
            ],
            "alone": list(lone), "why_not": why_not,
        })  # fmt: skip
        return
    _print(different, common, common_error, len(compared))
    for count, path in zip(lone, (first, second), strict=True):
        if count:
            print_sentence(f"In {path} alone: {many(count, 'note')}")
    for reason in why_not:
        print_sentence(reason)


def _notes(recording: Recording, path: Path) -> tuple[TakenNote, ...]:
    finder = NoteFinder(recording.sample_rate)
    for block in recording.blocks():
        finder.feed(block)
    found = finder.notes()
    if not found:
        raise BadValue(
            f"{path}: nothing heard; is it the right file? Notes must sound for half a second, one at a time"
        )
    return found


def _compared(
    one: Recording, other: Recording, before: TakenNote, after: TakenNote, semitones: float
) -> _Compared:
    # Equally long, so that both fall from the pick alike.
    seconds = min(
        (before.end - before.first) / one.sample_rate, (after.end - after.first) / other.sample_rate
    )
    part = one.part(before.first, before.first + round(seconds * one.sample_rate))
    another = other.part(after.first, after.first + round(seconds * other.sample_rate))
    if one.sample_rate != other.sample_rate:
        another = _at_rate(another, other.sample_rate, one.sample_rate)
    hz = float(hz_from_key(before.key + semitones / 2))
    cents, error = moved(part, another, one.sample_rate, Expected(0, "", hz))
    return _Compared(
        note_name(round(before.key)), before.seconds, after.seconds, cents, max(error, _LEAST_ERROR_CENTS),
        would_beat(part, one.sample_rate, hz, cents),
    )  # fmt: skip


def _at_rate(sound: Any, sample_rate: int, wanted: int) -> Any:
    from math import gcd

    from scipy.signal import resample_poly

    common = gcd(sample_rate, wanted)
    return resample_poly(sound, wanted // common, sample_rate // common)


def _differs(each: _Compared, common: float) -> bool:
    return abs(each.cents - common) > max(_DIFFERS_CENTS, _SURE * each.error_cents)


def _print(different: Sequence[_Compared], common: float, common_error: float, count: int) -> None:
    if abs(common) > _COMMON_CENTS:
        print_sentence(
            f"All of the second take lies {signed(common)} cents from the first, give or take "
            f"{common_error:.2f}, for two recorders' clocks differ. What follows counts from there."
        )
    if not different:
        print_sentence(f"{many(count, 'note')} compared; none differs by more than {_DIFFERS_CENTS:g} cent.")
        return
    print_table(
        ["note", ">in the first", ">in the second", ">differs by", ">give or take", "would beat"],
        [
            (
                each.note, f"{each.first_seconds:.2f} s", f"{each.second_seconds:.2f} s",
                signed(each.cents - common), f"{each.error_cents:.2f}",
                ", ".join(f"{rate(beats)} at {hz:.0f} Hz" for hz, beats in each.beats),
            )
            for each in different
        ],
        f"{many(count, 'note')} compared; cents",
    )  # fmt: skip
