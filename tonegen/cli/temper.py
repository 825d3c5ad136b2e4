"""tonegen temper."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from tonegen.cli.asked import Preset, stiff_option
from tonegen.cli.purity import grip_json, print_grips, worst_pair
from tonegen.cli.show import (
    as_json,
    folded,
    force_option,
    point_json,
    print_json,
    print_sentence,
    print_table,
)
from tonegen.errors import BadValue
from tonegen.instrument import TuningPoint
from tonegen.presets.own import save_temperament, saved_temperament
from tonegen.presets.scenes import scene as load_scene
from tonegen.tempering.fill import filled
from tonegen.tempering.purity import worst_of
from tonegen.tempering.scene import Pin, Scene, parse_pin
from tonegen.tempering.temper import Objective, Tempered, offsets_before, temper
from tonegen.tempering.tradeoff import Front, front_of
from tonegen.words import beats_a_second, rate, signed, stiffness_not_known


@click.command()
@click.argument("scene", type=Preset("scenes"))
@click.option(
    "--objective",
    type=click.Choice([objective.value for objective in Objective]),
    default=Objective.BEATS.value,
    show_default=True,
    help="What to minimise: squares of cents or beats, or the worst.",
)
@click.option(
    "--pin",
    "pins",
    metavar="POINT=CENTS",
    multiple=True,
    help="Hold a string: 4=0 is string 4 open, 4:F=-20 its stop for F; 8:A+B=0 is what it reads with both.",
)
@click.option(
    "--front", "with_front", is_flag=True, help='The trade-off between "with the band" and "with itself".'
)
@click.option(
    "--front-out",
    type=click.Path(path_type=Path),
    help="Draw that trade-off to a file: .pdf, .svg or .png.",
)
@force_option
@click.option("--intervals", is_flag=True, help="Every interval of every grip, not only the worst.")
@stiff_option
@click.option("--fill", is_flag=True, help="Set what no grip asks about by the same note on other strings.")
@click.option("--save", metavar="NAME", help="Save the offsets as a temperament of your own.")
@as_json
def command(
    scene: str,
    objective: str,
    pins: tuple[str, ...],
    with_front: bool,
    front_out: Path | None,
    force: bool,
    intervals: bool,
    stiff: bool,
    fill: bool,
    save: str | None,
    in_json: bool,
) -> None:
    """Find the offsets that make your own grips ring.

    A scene says which grips you play and how much each matters, what must not move, and who else plays.
    Pins given here win over those of the scene.

    \b
    tonegen temper e9-dance-band
    tonegen temper e9-dance-band --pin 4=3 --pin 8=3 --intervals
    tonegen temper e9-dance-band --save my-e9
    """
    asked = replace(with_pins(load_scene(scene), pins), stiff=stiff)
    if save is not None:
        asked = replace(asked, kept=saved_temperament(save, asked.instrument.name))
    goal = Objective(objective)
    solved = filled(temper(asked, goal)) if fill else temper(asked, goal)
    front = front_of(asked, goal) if with_front or front_out else None
    if front and front_out:
        from tonegen.paper.printing import write_figure
        from tonegen.paper.tradeoff import draw

        write_figure(lambda: draw(front), front_out, force=force)
    saved = None
    if save is not None:
        saved = save_temperament(solved.temperament(save))
    if in_json:
        print_json(_json(solved, front) | ({"saved": str(saved)} if saved else {}))
        return
    _print(solved, intervals)
    if front and with_front:
        _print_front(front)
    if front_out:
        click.echo(f"Written: {front_out}")
    if saved:
        click.echo(f"Saved as {saved.stem}: {saved}")
        click.echo(f"Next, tune to it: tonegen order {scene} --temperament {saved.stem}")
    else:
        click.echo("Next, keep it with --save NAME, or try --pin 4=3 to see what changes")


def with_pins(scene: Scene, pins: tuple[str, ...]) -> Scene:
    """The scene with pins as typed, which win over its own. Raises BadValue when two of them contradict."""
    given: list[Pin] = []
    for text in pins:
        try:
            given.append(parse_pin(text, scene.instrument, scene.drop))
        except BadValue as error:
            raise BadValue(f"--pin: {error}") from None
    points = {pin.point for pin in given}
    return replace(scene, pins=(*(pin for pin in scene.pins if pin.point not in points), *given))


def _json(solved: Tempered, front: Front | None) -> dict[str, Any]:
    scene = solved.scene
    pinned = {pin.point for pin in scene.pins}
    proof = "duality_gap" if solved.objective.of_worst else "kkt_residual"
    result: dict[str, Any] = {
        "scene": scene.name,
        "instrument": scene.instrument.name,
        "reference_hz": scene.reference_hz,
        "objective": solved.objective.value,
        "value": solved.value,
        "unit": solved.objective.unit,
        "points": [
            {
                **point_json(point),
                "note": scene.instrument.note(point),
                "offset_cents": offset,
                "hz": solved.hz(point),
                "pinned": point in pinned,
                "asked": point not in solved.not_asked,
                "filled": point in solved.filled,
            }
            for point, offset in solved.offsets_cents.items()
        ],
        "grips": [grip_json(grip, scene.instrument) for grip in solved.grips()],
        "binding": [
            {
                "kind": bound.kind,
                "what": bound.what,
                **(point_json(bound.point) if bound.point else {}),
                "price": bound.price,
                "price_unit": f"{solved.objective.unit} per cent",
                "price_beats_per_cent": bound.price_beats_per_cent,
                "towards": bound.towards,
            }
            for bound in solved.binding
        ],
        "contradictions": [
            {
                **point_json(found.point),
                "grips": list(found.names),
                "roles": list(found.roles),
                "wanted_cents": list(found.wanted_cents),
                "apart_cents": found.apart_cents,
                "beats_per_second": list(found.beats_per_second),
                "text": str(found),
            }
            for found in solved.contradictions()
        ],
        "no_stiffness": list(scene.unknown_wire),
        "undetermined": [
            {"points": [point_json(point) for point in each.points], "why": each.why}
            for each in solved.undetermined()
        ],
        "certificate": {proof: solved.residual},
    }
    if front:
        result["front"] = [
            {
                "band_weight": point.band_weight,
                "self_error": point.self_error,
                "band_error": point.band_error,
                "offsets_cents": list(point.offsets_cents),
            }
            for point in front.points
        ]
        with_itself, with_band = front.before
        result["front_before"] = {"self_error": with_itself, "band_error": with_band}
        result["front_chosen"] = {
            "self_error": front.chosen.self_error,
            "band_error": front.chosen.band_error,
        }
    return result


def _print(solved: Tempered, every_interval: bool) -> None:
    scene = solved.scene
    pinned = {pin.point: pin.heard for pin in scene.pins}
    before = dict(zip(solved.demands.points, offsets_before(solved.demands), strict=True))
    print_table(
        ["string", "stop", "note", ">before", ">after", ">Hz to read", ""],
        [_point_row(solved, point, float(before[point]), pinned) for point in solved.demands.points],
        f"{scene.title or scene.name}\n"
        f"A4 = {scene.reference_hz:g} Hz, drop {scene.drop.name}; offsets in cents from equal\n"
        + folded(f"Minimised: {solved.objective.value}, {_value(solved)}"),
    )
    by_cents = not solved.objective.in_beats
    decides = solved.worst_row if solved.objective.of_worst else None
    print_grips(solved.grips(), "before", "after", every_interval, by_cents, decides)
    for bound in solved.binding:
        side = {1: "; higher would be better", -1: "; lower would be better"}.get(bound.towards, "")
        print_sentence(
            f"Limited by {bound.what}: {beats_a_second(bound.price_beats_per_cent, 3)} for each cent{side}"
        )
    for found in solved.contradictions():
        print_sentence(f"Conflict: {found}")
    for each in solved.undetermined():
        print_sentence(str(each))
    if scene.unknown_wire:
        print_sentence(stiffness_not_known(scene.unknown_wire, "the beats leave it out"))
    proof = "duality gap" if solved.objective.of_worst else "residual of the optimality conditions"
    click.echo(f"Best possible, verified: {proof} {solved.residual:.0e}")


def _value(solved: Tempered) -> str:
    """What the objective came to, and for the worst whose it is, as the table of the grips has it."""
    objective = solved.objective
    if not objective.of_worst:
        return f"{solved.value:.2f} {objective.unit}, root mean square"
    demand = solved.demands.demands[solved.worst_row]
    for grip in solved.grips():
        worst = next((each for each in grip.intervals if each.row == solved.worst_row), None)
        if worst is not None:
            if not worst.is_weak:  # others of its grip may be as far off
                alike = [each for each in grip.intervals if each.against == worst.against]
                worst = worst_of(alike, lambda each: each.after, not objective.in_beats)
            after, place = worst.after, f"{worst_pair(worst)} in {demand.name}, fret {worst.fret:g}"
            cents = f"{signed(after.cents_from_just, 1)} cents"
            figure = rate(after.beats_per_second) if objective.in_beats else cents
            times = f", which counts {demand.weight:g} times" if demand.weight != 1 else ""
            return f"worst {figure}{times}: {place}"
    return f"worst {solved.value:.2f} {objective.unit}: {demand.high.label} against {demand.name}"


def _point_row(
    solved: Tempered, point: TuningPoint, before: float, pinned: Mapping[TuningPoint, str]
) -> tuple[str, ...]:
    stays = point in solved.not_asked
    heard = pinned.get(point)
    return (
        str(point.string),
        point.stop,
        solved.scene.instrument.note(point),
        signed(solved.offsets_cents[point] if stays else before, 1),
        signed(solved.offsets_cents[point], 1),
        f"{solved.hz(point):.2f}",
        f"pinned: {heard}"
        if heard
        else "pinned"
        if point in pinned
        else "filled"
        if point in solved.filled
        else "not asked" * stays,
    )


def _print_front(front: Front) -> None:
    unit = front.objective.unit
    print_table(
        [">band counts", f">with itself, {unit}", f">with the band, {unit}"],
        [
            (_times(point.band_weight), f"{point.self_error:.3f}", f"{point.band_error:.3f}")
            for point in front.points
        ],
        "The trade-off: neither can improve without the other getting worse",
    )
    click.echo(front.picture())


def _times(weight: float) -> str:
    return f"{weight:.0f} times" if weight >= 1000 else f"{weight:.3g} times"
