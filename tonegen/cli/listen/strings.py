"""tonegen listen SOUND."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from math import hypot
from pathlib import Path
from typing import Any, Final

import click

from tonegen.cli.asked import AskedRig, asks_for_a_rig
from tonegen.cli.listen.asked import (
    RECORDED,
    changes_option,
    clock_of,
    device_option,
    expected,
    fret_option,
    heading_of,
    opened_input,
    played,
    refuse_two_sources,
    refuse_wrong_rate,
    seconds_option,
    sound_if_recorded,
    target,
    with_picks,
)
from tonegen.cli.show import as_json, print_json, print_sentence, print_table
from tonegen.errors import BadValue
from tonegen.listen.clock import CardClock
from tonegen.listen.heard import HeardString, MovingBar, UnreadSound, heard
from tonegen.listen.live import LiveHearing
from tonegen.listen.picks import Pick
from tonegen.listen.spectrum import Expected
from tonegen.presets.learned import learned_strings
from tonegen.reads import Reading
from tonegen.sound.recordings import Recording
from tonegen.words import signed

_LINE: Final = "{:>9}  {:8}  {:4}  {:>7}  {:>7}  {:>12}"
HeardPick = tuple[Pick, HeardString | UnreadSound]


@click.command()
@sound_if_recorded
@asks_for_a_rig("The temperament that the strings are tuned to.")
@changes_option
@fret_option
@click.option("--string", type=int, help="The string that is picked, where two play one note.")
@device_option
@seconds_option
@as_json
def command(
    sound: Path | None,
    asked: AskedRig,
    changes: Mapping[str, float] | None,
    fret: float,
    string: int | None,
    device: str | None,
    seconds: float | None,
    in_json: bool,
) -> None:
    """Hear which string is picked, at what pitch, and how sure that is.

    SOUND is a WAV or FLAC file; or listen as you play, to --device. Pick one string at a time, let each ring
    for a second, and damp it before the next. Only the notes
    that the strings play with these changes engaged are listened for.

    \b
    tonegen listen strings.wav --instrument e9-ten-string
    tonegen listen --device 2 --instrument e9-ten-string --changes A
    tonegen listen pedals-down.flac --instrument e9-ten-string --changes A,B --drop demo-soft-cabinet
    """
    refuse_two_sources(sound, device)
    rig, made_with = asked.rig()
    state = rig.instrument.state(changes or {})
    numbers = [each.number for each in rig.instrument.strings] if string is None else [string]
    wanted = {number: target(rig, number, state, fret) for number in numbers}
    learned = learned_strings(rig.instrument)
    listened_for = [expected(rig, each, learned) for each in wanted.values()]

    what = "cents: as a meter reads it, and from its target"
    title = heading_of(rig, state, fret, made_with, what)
    if sound is None:
        _listen(device, seconds, listened_for, wanted, "" if in_json else title)
        return

    def hear(recording: Recording, picks: Sequence[Pick]) -> Iterator[HeardPick]:
        refuse_wrong_rate(sound, recording, picks, listened_for)
        for pick in picks:
            part = recording.part(pick.first, pick.end)
            try:
                yield pick, _by_clock(heard(part, recording.sample_rate, listened_for), RECORDED)
            except UnreadSound as why:
                yield pick, why

    told = with_picks(sound, hear)
    if not any(isinstance(each, HeardString) for _, each in told):
        raise BadValue(f"{sound}: no string can be read: {told[0][1]}")
    if in_json:
        print_json({
            "instrument": rig.instrument.name, "reference_hz": rig.reference_hz, "drop": rig.drop.name,
            "engaged": dict(state.travels), "fret": fret,
            "picks": [_json(pick.seconds, each, wanted) for pick, each in told],
        })  # fmt: skip
        return
    _print(told, wanted, title)


def _listen(
    device: str | None,
    seconds: float | None,
    listened_for: Sequence[Expected],
    wanted: Mapping[int, Reading],
    title: str,
) -> None:
    """Tell each pick as it is played; in JSON, where there is no title, at once and after a second."""
    with opened_input(device) as coming:
        clock, about_clock = clock_of(coming.device)
        click.echo(f"Listening to {coming.device}. Ctrl-C ends it. {about_clock}", err=True)
        if title:
            click.echo(title)
            click.echo(_LINE.format("at", "string", "note", "reads", "off", "give or take"))
        for now in played(coming, LiveHearing(coming.sample_rate, listened_for), seconds):
            each = now.heard
            if isinstance(each, HeardString):
                each = _by_clock(each, clock)
            if not title:
                print_json({"whole": now.whole, **_json(now.seconds, each, wanted)})
            elif isinstance(each, UnreadSound):
                print_sentence(f"At {now.seconds:.2f} s: {each}")
            elif now.whole:
                click.echo(
                    _LINE.format(
                        f"{now.seconds:.2f} s", " or ".join(map(str, each.strings)), each.expected.name,
                        signed(_reads_cents(each, wanted)), signed(each.cents), f"{each.error_cents:.2f}",
                    )
                )  # fmt: skip


def _by_clock(each: HeardString, clock: CardClock) -> HeardString:
    """What was heard by a clock, put right as far as that is known; its doubt counts."""
    error = hypot(each.error_cents, clock.error_cents)
    return replace(each, cents=each.cents + clock.cents, error_cents=error)


def _reads_cents(each: HeardString, wanted: Mapping[int, Reading]) -> float:
    return wanted[each.expected.string].cents + each.cents


def _json(seconds: float, each: HeardString | UnreadSound, wanted: Mapping[int, Reading]) -> dict[str, Any]:
    if isinstance(each, MovingBar):
        return {
            "seconds": seconds, "strings": [each.expected.string], "note": each.expected.name,
            "why_not": str(each), "off_cents": each.cents, "error_cents": each.error_cents,
            "swing_cents": each.swing_cents, "swing_hz": each.swing_hz,
        }  # fmt: skip
    if isinstance(each, UnreadSound):
        return {"seconds": seconds, "strings": [], "why_not": str(each)}
    return {
        "seconds": seconds, "strings": list(each.strings), "note": each.expected.name,
        "reads_cents": _reads_cents(each, wanted), "off_cents": each.cents,
        "error_cents": each.error_cents, "learned": each.expected.ways is not None,
        "hz": each.hz, "stiffness": each.stiffness,
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
        f"Give or take is one standard deviation; {RECORDED.error_cents:.2f} of it is the recorder's clock, "
        "alike in all of them."
    )
