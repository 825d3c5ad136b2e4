"""tonegen listen clock."""

import click
import numpy as np

from tonegen.cli.listen.asked import device_option, opened_input
from tonegen.cli.show import as_json, print_json, print_sentence
from tonegen.words import signed


@click.command()
@device_option
@click.option(
    "--seconds", type=click.FloatRange(min=5), default=60.0, show_default=True,
    help="How long; ten times as long is some thirty times surer.",
)  # fmt: skip
@as_json
def command(device: str | None, seconds: float, in_json: bool) -> None:
    """Measure how fast the clock of a sound card runs.

    A pitch that is heard through the card is off by as much: 58 ppm are 0.1 cent. What is found is kept for
    the device, and reckoned with from then on. The measure is the clock of this machine: have the system set
    it by the network for some hours before, since it may be as far off as the card without.

    \b
    tonegen listen clock
    tonegen listen clock --device 2 --seconds 600
    """
    from tonegen.listen.clock import card_clock
    from tonegen.sound.clocks import keep_clock

    frames, at_seconds, missing = [], [], []
    with opened_input(device) as coming:
        click.echo(f"Listening to {coming.device} for {seconds:g} s.", err=True)
        for _ in coming.blocks():
            frames.append(coming.frames)
            at_seconds.append(coming.at_seconds)
            missing.append(coming.overflows)
            if at_seconds[-1] - at_seconds[0] >= seconds:
                break
        clock = card_clock(
            np.array(frames, dtype=float), np.array(at_seconds), coming.sample_rate, np.array(missing)
        )
        path = keep_clock(coming.device, clock)
        if in_json:
            print_json({
                "device": str(coming.device), "sample_rate": coming.sample_rate,
                "ppm": clock.ppm, "error_ppm": clock.error_ppm, "cents": clock.cents,
            })  # fmt: skip
            return
    print_sentence(
        f"{coming.device} runs {signed(clock.ppm)} ppm fast, give or take {clock.error_ppm:.2f}: what is "
        f"heard through it reads {abs(clock.cents):.3f} cents {'flat' if clock.ppm > 0 else 'sharp'}."
    )
    print_sentence(f"Kept in {path}, and reckoned with from now on.")
