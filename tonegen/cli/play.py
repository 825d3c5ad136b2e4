"""tonegen play."""

import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from math import cos, pi
from typing import TYPE_CHECKING

import click

from tonegen import presets
from tonegen.cli.asked import TEXT, AskedTones, asks_how_it_sounds, asks_what_sounds, refuse_silence
from tonegen.cli.show import as_json, print_json, print_sounding, sounding_json
from tonegen.errors import BadValue
from tonegen.sounding import Sounding, places, tones_to_play
from tonegen.words import rate_and_side

if TYPE_CHECKING:
    from tonegen.synthesis.player import Player

_PULSE_CELLS = 24
# What terminals take for moving and erasing (ECMA-48: CUU, EL, ED).
_UP = "\x1b[{}A"
_ERASE_TO_THE_RIGHT = "\x1b[K"
_ERASE_BELOW = "\x1b[J"


@click.command()
@asks_what_sounds
@click.option("--seconds", type=float, help="How long; until Ctrl-C if left out.")
@click.option(
    "--device", type=TEXT, help="Sound device, by number or part of its name; a wrong one lists them all."
)
@click.option("--sample-rate", type=int, help="In Hz; the device's own if left out.")
@click.option("--block", type=int, default=0, help="Frames per block; 0 lets the device choose.")
@asks_how_it_sounds
@as_json
def command(
    asked: AskedTones,
    seconds: float | None,
    device: str | None,
    sample_rate: int | None,
    block: int,
    level: float,
    split: bool,
    only_beating: bool,
    in_json: bool,
) -> None:
    """Play tones or a grip, and see the beats pulse.

    \b
    tonegen play --low A3 --high C#4
    tonegen play --instrument e9-ten-string --changes A,B --grip 3,4,5 --seconds 10
    """
    timbre = presets.timbre(asked.timbre)
    sounding, made_with = asked.sounding()

    from tonegen.sound.device import check_playing, choose, output_devices, play
    from tonegen.synthesis.player import HEARING_CAUTION, Player, checked_level_dbfs

    check_playing(seconds, block)
    checked_level_dbfs(level)
    chosen = choose(device, output_devices())
    rate = chosen.sample_rate if sample_rate is None else sample_rate
    player = Player(rate, channels=min(chosen.channels, 2), level_dbfs=level)
    tones = tones_to_play(sounding, timbre, split=split, only_beating=only_beating)
    refuse_silence(sounding, tones, player.sample_rate)
    player.set(tones)
    if not in_json:
        print_sounding(sounding, made_with)
    click.echo(HEARING_CAUTION, err=True)
    with _pulses(sounding, player, hidden=in_json) as picture:
        played = play(player, chosen, seconds=seconds, block_frames=block, picture=picture)
    if in_json:
        print_json(
            {
                "device": str(chosen),
                "seconds": played.seconds,
                "sample_rate": player.sample_rate,
                "underflows": played.underflows,
                **sounding_json(sounding),
            }
        )
    elif played.underflows:
        click.echo(
            f"{played.underflows} blocks came too late and left gaps in the sound; give a larger --block",
            err=True,
        )


@contextmanager
def _pulses(sounding: Sounding, player: "Player", hidden: bool) -> Iterator[Callable[[int], None] | None]:
    """A bar for each interval, as long as its beat is loud at the moment that is heard."""
    if hidden or not sys.stdout.isatty() or not sounding.intervals:
        yield None
        return
    with redrawn() as draw:
        yield lambda frame: draw(_picture(sounding, player, frame))


@contextmanager
def redrawn() -> Iterator[Callable[[Sequence[str]], None]]:
    """Lines at the end of what the terminal shows, drawn over those before, and gone at the end.

    What a smaller terminal has no room for is left out, so that going up comes out where it began.
    """
    to_the_top = ""

    def draw(lines: Sequence[str]) -> None:
        nonlocal to_the_top
        columns, rows = shutil.get_terminal_size()
        shown = [line[: columns - 1] for line in lines[: rows - 1]]
        click.echo(to_the_top + "\n".join(line + _ERASE_TO_THE_RIGHT for line in shown), nl=False)
        to_the_top = "\r" + _UP.format(len(shown) - 1) * (len(shown) > 1)

    try:
        yield draw
    finally:
        click.echo(to_the_top + _ERASE_BELOW, nl=False)


def _picture(sounding: Sounding, player: "Player", frame: int) -> list[str]:
    lines = []
    for interval in sounding.intervals:
        low, high = places(sounding, interval)
        name = f"{interval.low.name}–{interval.high.name}"
        try:
            turns = player.beat_phase_turns(str(low), str(high), interval.ratio, frame)
        except BadValue:  # its coincident partials are not in this timbre
            continue
        loud = round(_PULSE_CELLS * (1 + cos(2 * pi * turns)) / 2)
        lines.append(f"{name:9} {rate_and_side(interval.beats_per_second):22} {'█' * loud}")
    return [*lines, "Ctrl-C ends"]
