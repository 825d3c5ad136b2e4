"""tonegen reads."""

from collections.abc import Mapping
from typing import Any

import click

from tonegen.cli.asked import Parsed, Preset, drop_option, parse_travels, reference_option
from tonegen.cli.chart import cautions
from tonegen.cli.show import (
    as_json,
    heading,
    interval_json,
    print_json,
    print_sentence,
    print_table,
    reading_json,
)
from tonegen.copedent import copedent
from tonegen.errors import BadValue
from tonegen.instrument import Grip, Instrument, State
from tonegen.pitch import parse_pitch_class
from tonegen.presets.scenes import scene as load_scene
from tonegen.reads import place_in_words, reading, states_played
from tonegen.setup.context import rig_asked_for
from tonegen.setup.rig import Rig
from tonegen.sounding import SoundingInterval
from tonegen.wants import Answer, Want, parse_want, tuned_for
from tonegen.words import rate_and_side, signed


@click.command()
@click.option("--instrument", type=Preset("instruments"), required=True, help="By name or TOML file.")
@click.option(
    "--temperament", type=Preset("temperaments"), default="equal", show_default=True,
    help="The temperament that the strings are tuned to.",
)  # fmt: skip
@click.option("--root", type=Parsed("note", parse_pitch_class), help="The root of the temperament.")
@drop_option
@reference_option
@click.option("--scene", type=Preset("scenes"), help="Read in the states of its grips, not in the chart's.")
@click.option("--string", type=int, help="Only this string.")
@click.option("--changes", type=Parsed("A,B", parse_travels), help="Only with these engaged; DD:0.5 is half.")
@click.option("--fret", type=float, default=0.0, show_default=True, help="Bar position.")
@click.option(
    "--want", "wants", metavar="STRING:CHANGES=CENTS", multiple=True,
    help="Ask what to tune: 8:A+B=0 has string 8 read its note with A and B down.",
)  # fmt: skip
@as_json
def command(
    instrument: str,
    temperament: str,
    root: int | None,
    drop: str | None,
    reference: float | None,
    scene: str | None,
    string: int | None,
    changes: Mapping[str, float] | None,
    fret: float,
    wants: tuple[str, ...],
    in_json: bool,
) -> None:
    """What a pitch meter shows, or what to tune so that it shows what you want.

    A string reads its offset where you tuned it; where other changes pull at the cabinet its drop is added.

    \b
    tonegen reads --instrument e9-ten-string --drop demo-stiff-cabinet --string 8
    tonegen reads --instrument e9-ten-string --drop demo-stiff-cabinet --want 8:A+B=0
    """
    rig, made_with = rig_asked_for(instrument, temperament, root, drop, reference)
    played = rig.instrument
    states, grips = _played(played, scene)
    if wants:
        if string is not None or changes is not None:
            raise BadValue("--want names its string and changes; leave --string and --changes out")
        _answer(_asked(rig, wants), states, grips, played.checked_fret(fret), made_with, in_json)
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
        _heading(rig, "cents: what it is tuned to, the drop, what a meter shows", made_with, fret),
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


def _asked(rig: Rig, wants: tuple[str, ...]) -> Answer:
    try:
        parsed: list[Want] = [parse_want(text, rig.instrument) for text in wants]
        return tuned_for(rig.instrument, rig.temperament, rig.drop, rig.reference_hz, parsed)
    except BadValue as error:
        raise BadValue(f"--want: {error}") from None


def _heading(rig: Rig, what: str, made_with: str, fret: float) -> str:
    bar = f", bar at fret {fret:g}" if fret else ""
    return heading(
        rig.instrument.title, f"A4 = {rig.reference_hz:g} Hz, drop {rig.drop.name}{bar}; {what}", made_with
    )


def _rig_json(rig: Rig | Answer) -> dict[str, Any]:
    return {"instrument": rig.instrument.name, "reference_hz": rig.reference_hz, "drop": rig.drop.name}


def _answer(
    answer: Answer,
    states: tuple[State, ...],
    grips: tuple[tuple[Grip, State], ...],
    fret: float,
    made_with: str,
    in_json: bool,
) -> None:
    wanted = [answer.readings(want.string, want.state, fret)[1] for want in answer.wants]
    asked = {(want.string, str(want.state)) for want in answer.wants}
    moves = [pair for pair in answer.moves(states, fret) if (pair[0].string, str(pair[0].state)) not in asked]
    beats = [(grip, *pair) for grip, state in grips for pair in answer.beats(grip, state, fret)]
    chart = copedent(answer.instrument, answer.after, answer.drop, answer.reference_hz)
    tuned = {tuning.point for tuning in answer.tunings}
    cautions_here = cautions(chart, tuned)
    if in_json:
        print_json({
            **_rig_json(answer),
            "tune": [
                {
                    "string": each.point.string, "changes": list(each.point.changes),
                    "note": answer.instrument.note(each.point), "before_cents": each.before_cents,
                    "offset_cents": each.cents, "hz": each.hz,
                }
                for each in answer.tunings
            ],
            "reads": [reading_json(each) for each in wanted],
            "moves": [{"before": reading_json(was), "after": reading_json(now)} for was, now in moves],
            "beats": [
                {"grip": grip.name, "before": interval_json(was), "after": interval_json(now)}
                for grip, was, now in beats
            ],
            "cautions": cautions_here,
        })  # fmt: skip
        return
    bar = f", bar at fret {fret:g}" if fret else ""
    title = heading(
        answer.instrument.title, f"A4 = {answer.reference_hz:g} Hz, drop {answer.drop.name}{bar}", made_with
    )
    click.echo(title)
    for each in answer.tunings:
        print_sentence(
            f"Tune {each.point} ({answer.instrument.note(each.point)}) to {signed(each.cents)} cents, "
            f"{each.hz:.2f} Hz; it was at {signed(each.before_cents)}"
        )
    if not answer.tunings:
        click.echo("Nothing to tune: it reads so already")
    for read in wanted:
        where = place_in_words(read.string, read.state)
        print_sentence(f"Then {where} reads {signed(read.cents)}, {read.tone.hz:.2f} Hz")
    for caution in cautions_here:
        print_sentence(f"Caution: {caution}")
    if moves:
        print_table(
            [">string", "state", "note", ">reads before", ">after", ">Hz"],
            [
                (str(now.string), str(now.state), now.tone.name, signed(was.cents), signed(now.cents),
                 f"{now.tone.hz:.2f}")
                for was, now in moves
            ],
            "\nWhat else moves",
        )  # fmt: skip
    if beats:
        print_table(
            ["grip", "strings", "stands for", "beats before", "after"],
            [
                (grip.name, f"{_string(now, 0)}–{_string(now, 1)}", str(now.ratio),
                 rate_and_side(was.beats_per_second), rate_and_side(now.beats_per_second))
                for grip, was, now in beats
            ],
            "Grips that it is in",
        )  # fmt: skip


def _string(interval: SoundingInterval, side: int) -> int | None:
    return (interval.low, interval.high)[side].string
