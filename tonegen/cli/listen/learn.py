"""tonegen listen learn."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from math import hypot
from pathlib import Path
from typing import Any, Final

import click
import numpy as np

from tonegen.cli.asked import AskedRig, asks_for_a_rig
from tonegen.cli.listen.asked import (
    RECORDED,
    changes_option,
    expected,
    heading_of,
    refuse_wrong_rate,
    sound_argument,
    target,
    with_picks,
)
from tonegen.cli.show import as_json, print_json, print_sentence, print_table
from tonegen.errors import BadValue
from tonegen.instrument import TuningPoint
from tonegen.listen.heard import UnreadSound, heard
from tonegen.listen.learned import LearnedString, learn
from tonegen.listen.picks import Pick
from tonegen.presets.learned import save_learned
from tonegen.sound.recordings import Recording
from tonegen.words import signed

_SHOWN: Final = 4


@click.command()
@sound_argument
@asks_for_a_rig("The temperament that the strings are tuned to, roughly.")
@changes_option
@click.option("--string", type=int, help="The string that is picked, where two play one note.")
@as_json
def command(
    sound: Path, asked: AskedRig, changes: Mapping[str, float] | None, string: int | None, in_json: bool
) -> None:
    """Learn each string from its sound alone, so that it is heard better ever after.

    In SOUND each string is picked twice or more, in any order, at fret 0. Let each pick ring for a second,
    and
    damp it before the next. What is learned is kept with the instrument: how stiff each string is, and how
    far each
    of its partials lies from where a stiff string has it. Learn a string again when it is new.

    \b
    tonegen listen learn strings.wav --instrument e9-ten-string
    tonegen listen learn pedals-down.wav --instrument e9-ten-string --changes A,B
    """
    rig, made_with = asked.rig()
    state = rig.instrument.state(changes or {})
    numbers = [each.number for each in rig.instrument.strings] if string is None else [string]
    listened_for = {number: expected(rig, target(rig, number, state, 0.0)) for number in numbers}
    reasons: list[str] = []

    def hear(recording: Recording, picks: Sequence[Pick]) -> Iterator[tuple[int, LearnedString]]:
        refuse_wrong_rate(sound, recording, picks, list(listened_for.values()))
        parts: dict[int, list[np.ndarray[Any, np.dtype[np.float64]]]] = {}
        for pick in picks:
            part = recording.part(pick.first, pick.end)
            try:
                found = heard(part, recording.sample_rate, list(listened_for.values()))
                if len(found.strings) > 1:
                    which = " or ".join(map(str, found.strings))
                    raise UnreadSound(f"string {which}: both play this note; say which with --string")
            except UnreadSound as why:
                reasons.append(f"At {pick.seconds:.2f} s: {why}")
            else:
                parts.setdefault(found.strings[0], []).append(part)
        for number, sounds in sorted(parts.items()):
            try:
                yield number, learn(sounds, recording.sample_rate, listened_for[number])
            except UnreadSound as why:
                reasons.append(str(why))

    learned = dict(with_picks(sound, hear))
    if not learned:
        raise BadValue(f"{sound}: no string can be learned: {reasons[0][:1].lower()}{reasons[0][1:]}")
    points = {rig.instrument.point(number, state): each for number, each in learned.items()}
    path = save_learned(rig.instrument, points, date.today())
    if in_json:
        print_json({
            "instrument": rig.instrument.name, "engaged": dict(state.travels), "saved": str(path),
            "strings": [_json(point, each) for point, each in points.items()], "why_not": reasons,
        })  # fmt: skip
        return
    print_table(
        [
            "string", "note", ">Hz", ">give or take", ">stiffness", ">partials", ">alike within",
            "off the law, in cents",
        ],
        [
            (str(point.string), rig.instrument.note(point), f"{each.hz:.3f}",
             f"{_error_cents(each):.2f} cents", f"{each.stiffness:.2g}",
             str(len(each.ways.numbers)), f"{each.alike_cents:.2f}", _furthest(each))
            for point, each in points.items()
        ],
        heading_of(rig, state, 0.0, made_with, "each string by itself"),
    )  # fmt: skip
    for reason in reasons:
        print_sentence(reason)
    print_sentence(f"Kept: {path}. Every string in it is heard by what was learned from now on")


def _error_cents(each: LearnedString) -> float:
    """Of its pitch; the recorder's clock counts, which nobody measured."""
    return hypot(each.error_cents or 0.0, RECORDED.error_cents)


def _furthest(each: LearnedString) -> str:
    """The partials that lie furthest off the law."""
    worst = np.sort(np.argsort(-np.abs(each.ways.cents))[:_SHOWN])
    numbers, cents = each.ways.numbers[worst], each.ways.cents[worst]
    return ", ".join(f"{int(number)}: {signed(way)}" for number, way in zip(numbers, cents, strict=True))


def _json(point: TuningPoint, each: LearnedString) -> dict[str, Any]:
    return {
        "string": point.string, "changes": list(point.changes), "hz": each.hz,
        "hz_error_cents": _error_cents(each), "stiffness": each.stiffness,
        "alike_cents": each.alike_cents, "partials": [int(number) for number in each.ways.numbers],
        "own_cents": each.ways.cents.tolist(), "error_cents": np.sqrt(each.ways.variances).tolist(),
    }  # fmt: skip
