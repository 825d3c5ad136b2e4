"""tonegen listen beats."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot
from pathlib import Path
from typing import Any, Final

import click

from tonegen.cli.asked import AskedRig, asks_for_a_rig, choose_grip, complete_grips
from tonegen.cli.listen.asked import (
    RECORDED,
    changes_option,
    expected,
    fret_option,
    heading_of,
    sound_argument,
    target,
    with_picks,
)
from tonegen.cli.show import as_json, print_json, print_sentence, print_table
from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.interval import partial_hz
from tonegen.listen.chord import BEST_SECONDS, HeardBeat, HeardChord, heard_together
from tonegen.listen.heard import UnreadSound
from tonegen.listen.picks import Pick
from tonegen.listen.spectrum import Expected
from tonegen.presets.learned import learned_strings
from tonegen.setup.setting import Hands
from tonegen.sound.recordings import Recording
from tonegen.sounding import SoundingInterval
from tonegen.words import rate, rate_and_side

_LONGEST_SECONDS: Final = 5.0  # for slow beats; real strings die away
_SLOW_BEATS: Final = 0.6
_ROLLED_SECONDS: Final = 0.8  # strings that are picked one shortly after the other are one grip


@dataclass(frozen=True, slots=True)
class _HeardPair(Frozen):
    """A pair of strings: what was heard of it, and what it should be, in beats a second."""

    interval: SoundingInterval
    beat: HeardBeat | None
    wanted: float


_Grip = tuple[Pick, HeardChord, tuple[_HeardPair, ...]]


@click.command()
@sound_argument
@asks_for_a_rig("The temperament that the strings are tuned to.")
@click.option(
    "--grip", metavar="3,4,5", required=True, shell_complete=complete_grips,
    help="Strings picked together, or a saved grip of the instrument.",
)  # fmt: skip
@changes_option
@fret_option
@as_json
def command(
    sound: Path,
    asked: AskedRig,
    grip: str,
    changes: Mapping[str, float] | None,
    fret: float,
    in_json: bool,
) -> None:
    """Hear how fast the strings of a grip beat, and on which side.

    In SOUND the strings of the grip are picked together and ring for two seconds, five where they beat
    slowly.
    Learn the strings first, each alone: tonegen listen learn. Two strings of one note beat, but which of
    them is
    the higher cannot be heard from both together: pick one after the other, and use tonegen listen SOUND.

    \b
    tonegen listen beats grip.wav --instrument e9-ten-string --changes A,B --grip 3,4,5
    tonegen listen beats grip.wav --instrument e9-ten-string --temperament my-e9 --grip 5,6,8
    """
    rig, made_with = asked.rig()
    chosen, state = choose_grip(rig.instrument, grip, changes)
    learned = learned_strings(rig.instrument)
    wanted = [expected(rig, target(rig, number, state, fret), learned) for number in chosen.strings]
    if len(wanted) < 2:
        raise BadValue("--grip: one string does not beat; give two or more, such as 3,4,5")
    intervals = rig.sounding(Hands(dict(state.travels), fret=fret), chosen).intervals
    why_not: list[str] = []

    def hear(recording: Recording, picks: Sequence[Pick]) -> Iterator[_Grip]:
        for pick in picks:
            part = recording.part(pick.first, pick.end)
            if len(part) < _ROLLED_SECONDS * recording.sample_rate:
                continue
            try:
                yield pick, *_heard(part, recording.sample_rate, wanted, intervals)
            except UnreadSound as why:
                why_not.append(f"At {pick.seconds:.2f} s: {why}")

    found = with_picks(sound, hear, _LONGEST_SECONDS)
    if not found:
        raise BadValue(
            f"{sound}: {why_not[0]}"
            if why_not
            else f"{sound}: too short: let the strings ring for {_ROLLED_SECONDS:g} s and more"
        )
    if in_json:
        print_json({
            "instrument": rig.instrument.name, "reference_hz": rig.reference_hz, "drop": rig.drop.name,
            "engaged": dict(state.travels), "fret": fret, "picks": [_json(each) for each in found],
            "why_not": why_not,
        })  # fmt: skip
        return
    title = heading_of(rig, state, fret, made_with, f"strings {', '.join(map(str, chosen.strings))} together")
    for each in found:
        _print(each, title)
    for reason in why_not:
        print_sentence(reason)
    unknown = [str(each.string) for each in wanted if each.ways is None]
    if unknown:
        print_sentence(
            f"Not learned yet, so less sure: string {', '.join(unknown)}; next, tonegen listen learn"
        )


def _heard(
    part: Any, sample_rate: int, wanted: Sequence[Expected], intervals: Sequence[SoundingInterval]
) -> tuple[HeardChord, tuple[_HeardPair, ...]]:
    chord = heard_together(part, sample_rate, wanted, BEST_SECONDS)
    pairs = [_pair(chord, each) for each in intervals]
    slow = any(each.beat is not None and abs(each.beat.beats_per_second) < _SLOW_BEATS for each in pairs)
    if slow and len(part) > 1.5 * BEST_SECONDS * sample_rate:
        longer = heard_together(part, sample_rate, wanted, _LONGEST_SECONDS)
        pairs = [
            _pair(longer, each.interval)
            if each.beat is not None and abs(each.beat.beats_per_second) < _SLOW_BEATS
            else each
            for each in pairs
        ]
    return chord, tuple(pairs)


def _pair(chord: HeardChord, interval: SoundingInterval) -> _HeardPair:
    places = {each.string: place for place, each in enumerate(chord.expected)}
    low, high = places[interval.low.string or 0], places[interval.high.string or 0]
    ratio = interval.ratio
    one, other = chord.expected[low], chord.expected[high]
    should = partial_hz(other.hz, ratio.lower, other.stiffness or 0.0)
    should = should - partial_hz(one.hz, ratio.upper, one.stiffness or 0.0)
    beat = chord.beat(low, ratio.upper, high, ratio.lower)
    if beat is not None:  # the recorder's clock counts seconds as well
        by_clock = beat.beats_per_second * RECORDED.error_ppm * 1e-6
        beat = replace(beat, error=hypot(beat.error, by_clock))
    return _HeardPair(interval, beat, float(should))


def _name(interval: SoundingInterval) -> str:
    return f"{interval.low.name}–{interval.high.name}"


def _print(found: _Grip, title: str) -> None:
    pick, _, pairs = found
    print_table(
        ["interval", "strings", "stands for", "heard", ">give or take", "should be", ">listen at"],
        [
            (
                _name(each.interval), f"{each.interval.low.string}, {each.interval.high.string}",
                str(each.interval.ratio), _said(each.beat),
                "" if each.beat is None else f"{each.beat.error:.2f}/s", rate_and_side(each.wanted),
                f"{each.interval.coincident_hz:.0f} Hz",
            )
            for each in pairs
        ],
        f"{title}\nPicked at {pick.seconds:.2f} s",
    )  # fmt: skip


def _said(beat: HeardBeat | None) -> str:
    if beat is None:
        return "these partials are not heard"
    if abs(beat.beats_per_second) < beat.error:
        return "pure, as far as is heard"
    if not beat.side_is_known:
        return f"{rate(beat.beats_per_second)}, side not known"
    return rate_and_side(beat.beats_per_second)


def _json(found: _Grip) -> dict[str, Any]:
    pick, chord, pairs = found
    return {
        "seconds": pick.seconds,
        "strings": [
            {
                "string": each.string, "note": each.name, "off_cents": float(cents),
                "error_cents": hypot(error, RECORDED.error_cents), "learned": each.ways is not None,
            }
            for each, cents, error in zip(chord.expected, chord.cents, chord.error_cents, strict=True)
        ],
        "beats": [
            {
                "low": each.interval.low.string, "high": each.interval.high.string,
                "ratio": str(each.interval.ratio), "listen_at_hz": each.interval.coincident_hz,
                "wanted_beats_per_second": each.wanted,
                "beats_per_second": None if each.beat is None else each.beat.beats_per_second,
                "error_beats_per_second": None if each.beat is None else each.beat.error,
                "side_known": each.beat is not None and each.beat.side_is_known,
            }
            for each in pairs
        ],
    }  # fmt: skip
