"""tonegen order."""

import threading
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import click

from tonegen import presets
from tonegen.cli.asked import TEXT, Preset, load_temperament_of
from tonegen.cli.key_reader import KeyReader
from tonegen.cli.show import as_json, force_option, point_json, print_json, print_sentence, print_table
from tonegen.errors import BadValue, NoSuchDevice
from tonegen.instrument import TuningPoint
from tonegen.interval import SLOWEST_COUNTABLE_BEATS_PER_SECOND
from tonegen.order.plan import tuning_order
from tonegen.order.steps import Check, Node, Order, Reference, TuningStep, sounds_like
from tonegen.order.walk import KEYS, Listening, StepHeard
from tonegen.presets.scenes import scene as load_scene
from tonegen.temperament import Temperament
from tonegen.tempering.scene import Scene
from tonegen.tempering.temper import temper
from tonegen.words import count_of, side


@click.command()
@click.argument("scene", type=Preset("scenes"))
@click.option(
    "--temperament",
    type=Preset("temperaments"),
    help="The temperament to tune to; the scene's own best by beats if left out.",
)
@click.option("--sound", is_flag=True, help="Hear each step; keys take you through.")
@click.option(
    "--device", type=TEXT, help="Sound device, by number or part of its name; a wrong one lists them all."
)
@click.option(
    "--timbre",
    type=Preset("timbres"),
    default="string",
    show_default=True,
    help="The timbre of the tones; harmonic leaves the strings' stiffness out of the beats.",
)
@click.option("--level", type=float, default=-24.0, show_default=True, help="Loudness, dB of full scale.")
@click.option(
    "--out-folder",
    type=click.Path(path_type=Path),
    help="Write each step as a WAV file into this folder, with a list, steps.csv.",
)
@force_option
@as_json
def command(
    scene: str,
    temperament: str | None,
    sound: bool,
    device: str | None,
    timbre: str,
    level: float,
    out_folder: Path | None,
    force: bool,
    in_json: bool,
) -> None:
    """A plan to tune by ear, step by step, with sound on request.

    Each step says which string to tune against what, in which state, and how fast it must beat; the open
    strings come first, and the intervals at the end check the whole.

    \b
    tonegen order e9-dance-band --temperament my-e9
    tonegen order e9-dance-band --sound
    tonegen order e9-dance-band --out-folder steps
    """
    stiff = presets.timbre(timbre).follows_string
    asked = replace(load_scene(scene), stiff=stiff)
    if sound and in_json:
        raise BadValue("--sound is for a person, --json for a script; give one of them")
    target = _target(asked, temperament)
    plan = tuning_order(
        asked.instrument, target, asked.drop, asked.reference_hz,
        points=asked.points(), stiff=stiff, played=asked.states,
    )  # fmt: skip
    place = Listening(plan, asked.reference_hz)
    if out_folder is not None:
        from tonegen.sound.steps import LIST, write_steps

        written = write_steps(out_folder, place, presets.timbre(timbre), level, force=force)
        click.echo(f"{out_folder}: {len(written) - 1} sounds written, listed in {LIST}", err=True)
    if sound:
        _sound_steps(place, device, timbre, level)
    elif in_json:
        print_json(_json(plan, asked, target))
    else:
        _print(plan, asked, temperament or "its slowest beats")


def _target(scene: Scene, name: str | None) -> Temperament:
    if name is None:
        return temper(scene).temperament(scene.name)
    return load_temperament_of(scene.instrument, name, None)


def _json(plan: Order, scene: Scene, target: Temperament) -> dict[str, Any]:
    return {
        "scene": scene.name,
        "instrument": plan.instrument.name,
        "temperament": target.name,
        "reference_hz": scene.reference_hz,
        "no_stiffness": list(plan.unknown_wire),
        "cautions": list(plan.cautions),
        "steps": [
            {
                "tune": _node_json(step.tune, plan),
                "against": _node_json(step.against, plan),
                "changes": list(step.state.changes),
                "travels": dict(step.state.travels),
                "fret": step.fret,
                "ratio": str(step.ratio),
                "multiple": step.multiple,
                "beats_per_second": step.beats_per_second,
                "low_hz": step.low_hz,
                "high_hz": step.high_hz,
                "low_stiffness": step.low_stiffness,
                "high_stiffness": step.high_stiffness,
                "coincident_hz": step.coincident_hz,
                "pair": step.pair,
                "count": step.count,
                "sounds_like": step.sounds_like,
                "accuracy_cents": step.accuracy_cents,
            }
            for step in plan.steps
        ],
        "checks": [
            {
                "low": _node_json(check.low, plan),
                "high": _node_json(check.high, plan),
                "changes": list(check.state.changes),
                "travels": dict(check.state.travels),
                "fret": check.fret,
                "ratio": str(check.ratio),
                "beats_per_second": check.beats_per_second,
                "coincident_hz": check.coincident_hz,
                "within_beats_per_second": check.within_beats_per_second,
            }
            for check in plan.checks
        ],
    }


def _node_json(node: Node, plan: Order) -> dict[str, Any]:
    if isinstance(node, TuningPoint):
        return {**point_json(node), "note": plan.instrument.note(node)}
    return {"tone": node.name, "hz": node.hz}


def _print(plan: Order, scene: Scene, target: str) -> None:
    tones = dict.fromkeys(str(step.against) for step in plan.steps if isinstance(step.against, Reference))
    print_table(
        [">", "tune", "against", "engaged", "as", "beats", "then", ">Hz", ">cents"],
        [_step_row(number, step, plan) for number, step in enumerate(plan.steps, start=1)],
        f"{scene.title or scene.name}\n"
        f"To {target}; A4 = {scene.reference_hz:g} Hz, drop {scene.drop.name}\n" + _in_lines(tones),
    )
    for sentence in _HOW_TO_READ:
        print_sentence(sentence)
    for caution in plan.cautions:
        print_sentence(caution)
    click.echo()
    print_table(
        ["check", "with", "engaged", "as", "should beat", "give or take"],
        [_check_row(check, plan) for check in plan.checks],
        "When all are tuned",
    )


def _in_lines(tones: Iterable[str]) -> str:
    """Two tones a line, which fit any terminal."""
    names = list(tones)
    return "\n".join("; ".join(names[first : first + 2]) for first in range(0, len(names), 2))


_HOW_TO_READ: Final = (
    "Tune each one pure first, then raise or lower it until it beats as shown; "
    "cents: how close you are then.",
    "5:4 means that partial 5 of the lower tone beats with partial 4 of the upper: listen at the Hz shown.",
    f"What you hear: a pure one {sounds_like(0)}; fewer than 10 beats in 10 s are {sounds_like(0.5)}; "
    f"up to 40, {sounds_like(2)}; more, {sounds_like(5)}.",
)


def _step_row(number: int, step: TuningStep, plan: Order) -> tuple[str, ...]:
    return (
        str(number),
        named(step.tune, plan),
        named(step.against, plan) if isinstance(step.against, TuningPoint) else step.against.name,
        step.state.typed + (f" fret {step.fret:g}" if step.fret else ""),
        ":".join(map(str, step.partials)),
        _count(step.beats_per_second),
        step.move,
        f"{step.coincident_hz:.0f}",
        f"{step.accuracy_cents:.1f}",
    )


def _check_row(check: Check, plan: Order) -> tuple[str, ...]:
    beats, seconds = count_of(check.within_beats_per_second)
    return (
        named(check.low, plan),
        named(check.high, plan),
        check.state.typed,
        str(check.ratio),
        _count(check.beats_per_second),
        f"{beats:g} in {seconds} s",
    )


def _count(beats_per_second: float) -> str:
    if abs(beats_per_second) < SLOWEST_COUNTABLE_BEATS_PER_SECOND:
        return "pure"
    beats, seconds = count_of(beats_per_second)
    return f"{beats:g} in {seconds} s {side(beats_per_second)}"


def named(node: Node, plan: Order) -> str:
    """A point as string, stop and note; a tone by its name and hz."""
    if not isinstance(node, TuningPoint):
        return str(node)
    stop = f" {node.stop}" if node.changes else ""
    return f"{node.string}{stop} {plan.instrument.note(node)}"


def _sound_steps(place: Listening, device: str | None, timbre_name: str, level: float) -> None:
    """Sound each step until a key says where to go."""
    from tonegen.sound.device import choose, output_devices, play
    from tonegen.synthesis.player import HEARING_CAUTION, Player, checked_level_dbfs

    timbre = presets.timbre(timbre_name)
    checked_level_dbfs(level)
    chosen = choose(device, output_devices())
    player = Player(chosen.sample_rate, channels=min(chosen.channels, 2), level_dbfs=level)
    stop, failures = threading.Event(), list[NoSuchDevice]()

    def sound() -> None:
        try:
            play(player, chosen, stop=stop)
        except NoSuchDevice as lost:
            failures.append(lost)

    def watch() -> None:
        if failures:
            raise failures[0]

    with KeyReader() as keys:
        click.echo(HEARING_CAUTION, err=True)
        click.echo(KEYS)
        player.set(place.tones(timbre))
        sounding = threading.Thread(target=sound)
        sounding.start()
        try:
            while not place.ended:
                _say(place)
                place = place.pressed(keys.next(watch).name)
                if place.again:
                    player.set(())
                player.set(place.tones(timbre))
        except KeyboardInterrupt:
            pass  # the usual way to end
        finally:
            stop.set()
            sounding.join()


def _say(place: Listening) -> None:
    step, plan = place.step, place.plan
    only = {
        StepHeard.BOTH: "",
        StepHeard.BEATING: ", only the beating partials",
        StepHeard.AGAINST: f", only {named(step.against, plan)}",
    }[place.heard]
    click.echo(
        f"{place.at + 1} of {len(plan.steps)}: tune {named(step.tune, plan)} against "
        f"{named(step.against, plan)}, {step.state}, {step.ratio}: {step.count} "
        f"({step.pair}, near {step.coincident_hz:.0f} Hz; {step.sounds_like}){only}"
    )
