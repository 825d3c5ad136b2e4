"""tonegen count."""

from dataclasses import asdict

import click

from tonegen.cli.asked import PITCH, Parsed
from tonegen.cli.show import as_json, print_json, print_table
from tonegen.errors import BadValue
from tonegen.interval import Ratio, readings_of_count
from tonegen.pitch import REFERENCE_HZ, WrittenPitch, checked_reference_hz
from tonegen.words import signed


@click.command()
@click.option("--beats", type=float, required=True, help="How many beats you counted.")
@click.option("--seconds", type=float, required=True, help="How long you counted.")
@click.option("--low", type=PITCH, required=True, help="Lower tone: a note, with cents, or Hz.")
@click.option(
    "--ratio",
    type=Parsed("ratio", Ratio.parse),
    required=True,
    help="The just ratio it stands for, such as 5:4.",
)
@click.option("--reference", type=float, default=REFERENCE_HZ, show_default=True, help="A4 in Hz.")
@as_json
def command(
    beats: float, seconds: float, low: WrittenPitch, ratio: Ratio, reference: float, in_json: bool
) -> None:
    """Turn beats counted by ear into cents.

    A count does not say on which side of pure the interval lies, so there are two answers.

    \b
    tonegen count --beats 7 --seconds 10 --low A3 --ratio 5:4
    """
    if not 0 < seconds < float("inf"):
        raise BadValue(
            f"--seconds: {seconds:g} is not a time to count over; give seconds above zero, such as 10"
        )
    low_hz = low.hz_at(checked_reference_hz(reference))
    if_wide, if_narrow = readings_of_count(beats / seconds, low_hz, ratio)
    if in_json:
        print_json(
            {
                "ratio": str(ratio),
                "low_hz": low_hz,
                "beats_per_second": beats / seconds,
                "if_wide": asdict(if_wide),
                "if_narrow": asdict(if_narrow),
            }
        )
        return
    print_table(
        ["it is", ">cents from pure", ">upper tone"],
        [
            ("wide", signed(if_wide.cents_from_just, 3), f"{if_wide.high_hz:.3f} Hz"),
            ("narrow", signed(if_narrow.cents_from_just, 3), f"{if_narrow.high_hz:.3f} Hz"),
        ],
        f"{beats:g} beats in {seconds:g} s, {ratio} {ratio.name} above {low.text}",
    )
