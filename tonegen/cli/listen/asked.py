"""What the listening commands share: the strings that are listened for, and the picks of a file."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final, TypeVar

import click

from tonegen.cli.asked import Parsed, parse_travels
from tonegen.cli.show import heading
from tonegen.errors import BadValue
from tonegen.instrument import State
from tonegen.listen.picks import Pick, PickFinder
from tonegen.listen.spectrum import Expected
from tonegen.reads import Reading, reading
from tonegen.setup.rig import Rig
from tonegen.sound.recordings import Recording

Heard = TypeVar("Heard")

SECONDS: Final = 1.0  # of each pick: real strings fall on, however long they ring

sound_argument = click.argument("sound", type=click.Path(path_type=Path))
changes_option = click.option(
    "--changes", type=Parsed("A,B", parse_travels), help="Pedals and levers that are engaged."
)
fret_option = click.option("--fret", type=float, default=0.0, show_default=True, help="Bar position.")


def target(rig: Rig, string: int, state: State, fret: float) -> Reading:
    """What a string would read if it stood at its target."""
    return reading(rig.instrument, rig.temperament, rig.drop, rig.reference_hz, string, state, fret)


def expected(rig: Rig, each: Reading) -> Expected:
    """The same, as it is listened for."""
    stiffness = rig.instrument.stiffness(each.string, each.state, each.tone.fret or 0.0)
    return Expected(each.string, each.tone.name, each.tone.hz, stiffness)


def with_picks(
    sound: Path, use: Callable[[Recording, tuple[Pick, ...]], Iterator[Heard]]
) -> tuple[Heard, ...]:
    """What comes of the picks of a file. Raises BadValue where none is heard in it."""
    with Recording(sound) as recording:
        finder = PickFinder(recording.sample_rate)
        for block in recording.blocks():
            finder.feed(block)
        picks = finder.picks(SECONDS)
        if not picks:
            raise BadValue(f"{sound}: nothing heard; is it the right file? Pick one string at a time")
        return tuple(use(recording, picks))


def heading_of(rig: Rig, state: State, fret: float, made_with: str, what: str) -> str:
    """What stands above a table of readings."""
    bar = f", bar at fret {fret:g}" if fret else ""
    about = f"A4 = {rig.reference_hz:g} Hz, drop {rig.drop.name}, {state}{bar}"
    return heading(rig.instrument.title, f"{about}; {what}", made_with)
