"""tonegen listen SOUND."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from tonegen.cli.asked import AskedRig, asks_for_a_rig
from tonegen.cli.listen.asked import (
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
from tonegen.listen.heard import HeardString, UnreadSound, heard
from tonegen.listen.picks import Pick
from tonegen.reads import Reading
from tonegen.sound.recordings import Recording
from tonegen.words import signed

HeardPick = tuple[Pick, HeardString | UnreadSound]


@click.command()
@sound_argument
@asks_for_a_rig("The temperament that the strings are tuned to.")
@changes_option
@fret_option
@click.option("--string", type=int, help="The string that is picked, where two play one note.")
@as_json
def command(
    sound: Path,
    asked: AskedRig,
    changes: Mapping[str, float] | None,
    fret: float,
    string: int | None,
    in_json: bool,
) -> None:
    """Hear which string is picked in a recording, at what pitch, and how sure that is.

    SOUND is a WAV or FLAC file. Pick one string at a time, let each ring for a second, and damp it before the
    next. Only the notes that the strings play with these changes engaged are listened for.

    \b
    tonegen listen strings.wav --instrument e9-ten-string
    tonegen listen pedals-down.flac --instrument e9-ten-string --changes A,B --drop demo-soft-cabinet
    """
    rig, made_with = asked.rig()
    state = rig.instrument.state(changes or {})
    numbers = [each.number for each in rig.instrument.strings] if string is None else [string]
    wanted = {number: target(rig, number, state, fret) for number in numbers}
    listened_for = [expected(rig, each) for each in wanted.values()]

    def hear(recording: Recording, picks: Sequence[Pick]) -> Iterator[HeardPick]:
        for pick in picks:
            try:
                yield pick, heard(recording.part(pick.first, pick.end), recording.sample_rate, listened_for)
            except UnreadSound as why:
                yield pick, why

    told = with_picks(sound, hear)
    if not any(isinstance(each, HeardString) for _, each in told):
        raise BadValue(f"{sound}: no string can be read: {told[0][1]}")
    if in_json:
        print_json({
            "instrument": rig.instrument.name, "reference_hz": rig.reference_hz, "drop": rig.drop.name,
            "engaged": dict(state.travels), "fret": fret,
            "picks": [_json(pick, each, wanted) for pick, each in told],
        })  # fmt: skip
        return
    what = "cents: as a meter reads it, and from its target"
    _print(told, wanted, heading_of(rig, state, fret, made_with, what))


def _reads_cents(each: HeardString, wanted: Mapping[int, Reading]) -> float:
    return wanted[each.expected.string].cents + each.cents


def _json(pick: Pick, each: HeardString | UnreadSound, wanted: Mapping[int, Reading]) -> dict[str, Any]:
    if isinstance(each, UnreadSound):
        return {"seconds": pick.seconds, "strings": [], "why_not": str(each)}
    return {
        "seconds": pick.seconds, "strings": list(each.strings), "note": each.expected.name,
        "reads_cents": _reads_cents(each, wanted), "off_cents": each.cents,
        "error_cents": each.error_cents, "hz": each.hz, "stiffness": each.stiffness,
    }  # fmt: skip


def _print(told: Sequence[HeardPick], wanted: Mapping[int, Reading], title: str) -> None:
    print_table(
        [">at", "string", "note", ">reads", ">off", ">give or take", ">Hz"],
        [
            (f"{pick.seconds:.2f} s", " or ".join(map(str, each.strings)), each.expected.name,
             signed(_reads_cents(each, wanted)), signed(each.cents), f"{each.error_cents:.2f}",
             f"{each.hz:.3f}")
            for pick, each in told
            if isinstance(each, HeardString)
        ],
        title,
    )  # fmt: skip
    for pick, each in told:
        if isinstance(each, UnreadSound):
            print_sentence(f"At {pick.seconds:.2f} s: {each}")
    print_sentence(
        "Give or take is one standard deviation. A recorder's clock adds up to 0.2 cents, to all alike."
    )
