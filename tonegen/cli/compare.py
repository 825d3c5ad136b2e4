"""tonegen compare."""

from dataclasses import replace

import click
import numpy as np

from tonegen.cli.asked import Preset, load_temperament_of, stiff_option
from tonegen.cli.purity import grip_json, print_grips
from tonegen.cli.show import as_json, point_json, print_json, print_sentence, print_table
from tonegen.presets.scenes import scene as load_scene
from tonegen.tempering.demands import demands_of
from tonegen.tempering.purity import purity_of
from tonegen.words import signed, stiffness_not_known


@click.command()
@click.argument("first", type=Preset("temperaments"))
@click.argument("second", type=Preset("temperaments"))
@click.option("--scene", type=Preset("scenes"), required=True, help="Whose grips are compared.")
@click.option("--intervals", is_flag=True, help="Every interval of every grip, not only the worst.")
@stiff_option
@as_json
def command(first: str, second: str, scene: str, intervals: bool, stiff: bool, in_json: bool) -> None:
    """Compare two temperaments over the grips of a scene.

    \b
    tonegen compare equal my-e9 --scene e9-dance-band
    """
    asked = replace(load_scene(scene), stiff=stiff)
    demands = demands_of(asked)
    instrument = asked.instrument
    sides = [load_temperament_of(instrument, name, None) for name in (first, second)]
    offsets = [np.array([side.offset_cents(instrument, point) for point in demands.points]) for side in sides]
    grips = purity_of(demands, offsets[0], offsets[1])
    pairs = zip(demands.points, offsets[0].tolist(), offsets[1].tolist(), strict=True)
    if in_json:
        print_json(
            {
                "scene": asked.name,
                "first": first,
                "second": second,
                "no_stiffness": list(asked.unknown_wire),
                "points": [
                    {
                        **point_json(point),
                        "note": instrument.note(point),
                        "first_offset_cents": one,
                        "second_offset_cents": other,
                    }
                    for point, one, other in pairs
                ],
                "grips": [grip_json(grip, instrument, "first", "second") for grip in grips],
            }
        )
        return
    print_table(
        ["string", "stop", "note", f">{first}", f">{second}", ">apart"],
        [
            (
                str(point.string),
                point.stop,
                instrument.note(point),
                signed(one, 1),
                signed(other, 1),
                signed(other - one, 1),
            )
            for point, one, other in pairs
        ],
        f"{asked.title or asked.name}\n"
        f"A4 = {asked.reference_hz:g} Hz, drop {asked.drop.name}; offsets in cents from equal",
    )
    print_grips(grips, first, second, intervals)
    if asked.unknown_wire:
        print_sentence(stiffness_not_known(asked.unknown_wire, "the beats leave it out"))
