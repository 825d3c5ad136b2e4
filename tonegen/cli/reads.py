"""tonegen reads."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import click

from tonegen.cli.asked import AskedRig, Parsed, Preset, asks_for_a_rig, parse_travels, stiff_option
from tonegen.cli.chart import cautions
from tonegen.cli.show import (
    as_json,
    heading,
    interval_json,
    point_json,
    print_json,
    print_sentence,
    print_table,
    reading_json,
)
from tonegen.copedent import copedent
from tonegen.errors import BadValue
from tonegen.instrument import Grip, Instrument, State
from tonegen.presets.scenes import scene as load_scene
from tonegen.reads import Reading, place_in_words, reading, states_played
from tonegen.setup.rig import Rig
from tonegen.sounding import SoundingInterval
from tonegen.wants import Answer, Want, parse_want, tuned_for
from tonegen.words import rate_and_side, signed, stiffness_not_known


@click.command()
@asks_for_a_rig("The temperament that the strings are tuned to.")
@click.option("--scene", type=Preset("scenes"), help="Read in the states of its grips, not in the chart's.")
@click.option("--string", type=int, help="Only this string.")
@click.option("--changes", type=Parsed("A,B", parse_travels), help="Only with these engaged; DD:0.5 is half.")
@click.option("--fret", type=float, default=0.0, show_default=True, help="Bar position.")
@click.option(
    "--want", "wants", metavar="STRING:CHANGES=CENTS", multiple=True,
    help="Ask what to tune: 8:A+B=0 has string 8 read its note with A and B down.",
)  # fmt: skip
@stiff_option
@as_json
def command(
    asked: AskedRig,
    scene: str | None,
    string: int | None,
    changes: Mapping[str, float] | None,
    fret: float,
    wants: tuple[str, ...],
    stiff: bool,
    in_json: bool,
) -> None:
    """What a pitch meter shows, or what to tune so that it shows what you want.

    A string reads its offset where you tuned it; where other changes pull at the cabinet its drop is added.

    \b
    tonegen reads --instrument e9-ten-string --drop demo-stiff-cabinet --string 8
    tonegen reads --instrument e9-ten-string --drop demo-stiff-cabinet --want 8:A+B=0
    """
    rig, made_with = asked.rig()
    played = rig.instrument
    states, grips = _played(played, scene)
    if wants:
        if string is not None or changes is not None:
            raise BadValue("--want names its string and changes; leave --string and --changes out")
        told = _told(_answer(rig, wants), states, grips, played.checked_fret(fret), stiff)
        if in_json:
            print_json(_answer_json(told))
        else:
            _print_answer(told, _heading(rig, fret, made_with))
        return
    if changes is not None:
        states = (played.state(changes),)
    strings = [each.number for each in played.strings] if string is None else [string]
    shown = [
        reading(played, rig.temperament, rig.drop, rig.reference_hz, number, state, fret)
        for number in strings
        for state in states
    ]
    if in_json:
        print_json({**_rig_json(rig), "readings": [reading_json(each) for each in shown]})
        return
    print_table(
        [">string", "state", "note", ">offset", ">drop", ">reads", ">Hz"],
        [
            (str(each.string), str(each.state), each.tone.name, signed(each.tone.offset_cents),
             signed(each.tone.drop_cents), signed(each.cents), f"{each.tone.hz:.2f}")
            for each in shown
        ],
        _heading(rig, fret, made_with, "; cents: what it is tuned to, the drop, what a meter shows"),
    )  # fmt: skip


def _played(
    instrument: Instrument, scene: str | None
) -> tuple[tuple[State, ...], tuple[tuple[Grip, State], ...]]:
    """The states that are played and the grips that are played in them."""
    if scene is None:
        grips = tuple((grip, instrument.state(grip.changes)) for grip in instrument.grips)
        return states_played(instrument), grips
    asked = load_scene(scene)
    if asked.instrument.name != instrument.name:
        raise BadValue(f"--scene: {asked.name} is for {asked.instrument.name}, not for {instrument.name}")
    wanted = tuple((each.grip, each.state) for each in asked.grips)
    return states_played(instrument, (state for _, state in wanted)), wanted


def _answer(rig: Rig, wants: tuple[str, ...]) -> Answer:
    try:
        parsed: list[Want] = [parse_want(text, rig.instrument) for text in wants]
        return tuned_for(rig.instrument, rig.temperament, rig.drop, rig.reference_hz, parsed)
    except BadValue as error:
        raise BadValue(f"--want: {error}") from None


def _heading(rig: Rig, fret: float, made_with: str, what: str = "") -> str:
    bar = f", bar at fret {fret:g}" if fret else ""
    return heading(
        rig.instrument.title, f"A4 = {rig.reference_hz:g} Hz, drop {rig.drop.name}{bar}{what}", made_with
    )


def _rig_json(rig: Rig | Answer) -> dict[str, Any]:
    return {"instrument": rig.instrument.name, "reference_hz": rig.reference_hz, "drop": rig.drop.name}


@dataclass(frozen=True, slots=True)
class _Answered:
    """What is said of an answer: what its wants read then, what else moves, and the beats of which grips.

    unknown_wire : of which strings of those grips the stiffness is not known.
    """

    answer: Answer
    wanted: tuple[Reading, ...]
    moves: tuple[tuple[Reading, Reading], ...]
    beats: tuple[tuple[Grip, SoundingInterval, SoundingInterval], ...]
    cautions: tuple[str, ...]
    unknown_wire: tuple[int, ...]


def _told(
    answer: Answer, states: tuple[State, ...], grips: tuple[tuple[Grip, State], ...], fret: float, stiff: bool
) -> _Answered:
    asked = {(want.string, str(want.state)) for want in answer.wants}
    chart = copedent(answer.instrument, answer.after, answer.drop, answer.reference_hz)
    beats = [(grip, *pair) for grip, state in grips for pair in answer.beats(grip, state, fret, stiff=stiff)]
    strings = {each.string for _, _, now in beats for each in (now.low, now.high) if each.string is not None}
    return _Answered(
        answer,
        tuple(answer.readings(want.string, want.state, fret)[1] for want in answer.wants),
        tuple(
            (was, now) for was, now in answer.moves(states, fret) if (was.string, str(was.state)) not in asked
        ),
        tuple(beats),
        tuple(cautions(chart, {tuning.point for tuning in answer.tunings})),
        answer.instrument.of_unknown_wire(strings) if stiff else (),
    )


def _answer_json(told: _Answered) -> dict[str, Any]:
    answer = told.answer
    return {
        **_rig_json(answer),
        "tune": [
            {
                **point_json(each.point),
                "note": answer.instrument.note(each.point), "before_cents": each.before_cents,
                "offset_cents": each.cents, "hz": each.hz,
            }
            for each in answer.tunings
        ],
        "reads": [reading_json(each) for each in told.wanted],
        "moves": [{"before": reading_json(was), "after": reading_json(now)} for was, now in told.moves],
        "beats": [
            {"grip": grip.name, "before": interval_json(was), "after": interval_json(now)}
            for grip, was, now in told.beats
        ],
        "cautions": list(told.cautions),
        "no_stiffness": list(told.unknown_wire),
    }  # fmt: skip


def _print_answer(told: _Answered, title: str) -> None:
    click.echo(title)
    for each in told.answer.tunings:
        print_sentence(
            f"Tune {each.point} ({told.answer.instrument.note(each.point)}) to {signed(each.cents)} cents, "
            f"{each.hz:.2f} Hz; it was at {signed(each.before_cents)}"
        )
    if not told.answer.tunings:
        click.echo("Nothing to tune: it reads so already")
    for read in told.wanted:
        where = place_in_words(read.string, read.state)
        print_sentence(f"Then {where} reads {signed(read.cents)}, {read.tone.hz:.2f} Hz")
    for caution in told.cautions:
        print_sentence(f"Caution: {caution}")
    if told.moves:
        print_table(
            [">string", "state", "note", ">reads before", ">after", ">Hz"],
            [
                (str(now.string), str(now.state), now.tone.name, signed(was.cents), signed(now.cents),
                 f"{now.tone.hz:.2f}")
                for was, now in told.moves
            ],
            "\nWhat else moves",
        )  # fmt: skip
    if told.beats:
        print_table(
            ["grip", "strings", "stands for", "beats before", "after"],
            [
                (grip.name, f"{now.low.string}–{now.high.string}", str(now.ratio),
                 rate_and_side(was.beats_per_second), rate_and_side(now.beats_per_second))
                for grip, was, now in told.beats
            ],
            "Grips that it is in",
        )  # fmt: skip
    if told.unknown_wire:
        print_sentence(stiffness_not_known(told.unknown_wire, "the beats leave it out"))
