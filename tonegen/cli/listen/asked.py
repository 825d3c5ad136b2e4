"""What the listening commands share: the strings that are listened for, and the picks of a file."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeVar

import click
import numpy as np
from numpy.typing import NDArray

from tonegen.cli.asked import TEXT, Parsed, parse_travels
from tonegen.cli.show import heading
from tonegen.errors import BadValue
from tonegen.instrument import State
from tonegen.listen.clock import CardClock
from tonegen.listen.heard import UnreadSound, heard
from tonegen.listen.live import HeardNow, LiveHearing
from tonegen.listen.picks import Pick, PickFinder, rings_by_itself
from tonegen.listen.spectrum import Expected
from tonegen.setup.listened import NOTHING as NOTHING
from tonegen.setup.listened import expected as expected
from tonegen.setup.listened import target as target
from tonegen.setup.rig import Rig
from tonegen.sound.recordings import Recording
from tonegen.words import signed

if TYPE_CHECKING:
    from tonegen.sound.device import Device
    from tonegen.sound.input import SoundInput

Heard = TypeVar("Heard")

RECORDED: Final = CardClock()  # of whatever a sound was recorded with: nobody measured it
NOTHING_HEARD: Final = "nothing heard; is the right input chosen?"
_SILENT_SECONDS: Final = 4.0
_PICKS_LOOKED_AT: Final = 3
_NEAR_CENTS: Final = 25.0
_WRONG_RATES_SEMITONES: Final = (-1.467, 1.467)  # 48000 Hz said to be 44100, and the other way round
SECONDS: Final = 1.0  # of each pick: real strings fall on, however long they ring

sound_argument = click.argument("sound", type=click.Path(path_type=Path))
sound_if_recorded = click.argument("sound", type=click.Path(path_type=Path), required=False)
device_option = click.option(
    "--device", type=TEXT,
    help="Listen to a sound input, by number or part of its name; a wrong one lists them all.",
)  # fmt: skip
seconds_option = click.option(
    "--seconds",
    type=click.FloatRange(min=0, min_open=True),
    help="How long to listen to a device; until Ctrl-C if left out.",
)
changes_option = click.option(
    "--changes", type=Parsed("A,B", parse_travels), help="Pedals and levers that are engaged."
)
fret_option = click.option("--fret", type=float, default=0.0, show_default=True, help="Bar position.")


def with_picks(
    sound: Path, use: Callable[[Recording, tuple[Pick, ...]], Iterator[Heard]], seconds: float = SECONDS
) -> tuple[Heard, ...]:
    """What comes of the picks of a file, each with so many seconds of it at most.

    Raises BadValue where none is heard in it.
    """
    with Recording(sound) as recording:
        finder = PickFinder(recording.sample_rate)
        starts = tuple(start for block in recording.blocks() for start in finder.feed(block))
        picks = rings_by_itself(starts, recording.frames, recording.sample_rate, seconds)
        if not picks:
            raise BadValue(f"{sound}: nothing heard; is it the right file? Pick one string at a time")
        return tuple(use(recording, picks))


def refuse_wrong_rate(
    sound: Path, recording: Recording, picks: Sequence[Pick], listened_for: Sequence[Expected]
) -> None:
    """Raise BadValue where all of a recording lies as if its header had another rate than it was made with.

    Strings that are read within a quarter of a semitone of their targets are never asked about.
    """
    parts = [recording.part(pick.first, pick.end) for pick in picks[:_PICKS_LOOKED_AT]]
    near, far = _near_targets(parts, recording.sample_rate, listened_for)
    if near:
        return
    for semitones in _WRONG_RATES_SEMITONES:
        moved = [replace(each, hz=each.hz * 2 ** (semitones / 12), ways=None) for each in listened_for]
        there, _ = _near_targets(parts, recording.sample_rate, moved)
        if there == len(parts) or there > far:
            where = "higher" if semitones > 0 else "lower"
            raise BadValue(
                f"{sound}: all of it lies about {abs(semitones):.1f} semitones {where} than the strings; is "
                f"its sample rate right, {recording.sample_rate} Hz? Mend its header, or record it again"
            )


def _near_targets(
    parts: Sequence[NDArray[np.float64]], sample_rate: int, listened_for: Sequence[Expected]
) -> tuple[int, int]:
    """How many are read near their targets, and how many at all."""
    off = []
    for part in parts:
        with suppress(UnreadSound):
            off.append(abs(heard(part, sample_rate, listened_for).cents))
    return sum(each < _NEAR_CENTS for each in off), len(off)


def refuse_two_sources(sound: Path | None, device: str | None) -> None:
    """Raise BadValue unless there is a recording to listen to, or a device."""
    if (sound is None) == (device is None):
        raise BadValue("listen to one thing: a recording, SOUND, or an input of this machine, --device")


def opened_input(device: str | None) -> "SoundInput":
    """An input of this machine, to be entered; the default one for None. Raises NoSuchDevice."""
    from tonegen.sound.input import SoundInput, chosen_input

    return SoundInput(chosen_input(device))


def clock_of(device: "Device") -> tuple[CardClock, str]:
    """How fast the clock of an input runs, and what there is to know about that."""
    from tonegen.sound.clocks import kept_clock

    found = kept_clock(device)
    if found is None:
        return CardClock(), (
            "The clock of this sound card is not measured and counts in what is said: "
            f"tonegen listen clock --device {device.number}"
        )
    return found, f"The clock of this sound card, {signed(found.ppm)} ppm, is reckoned with."


def played(coming: "SoundInput", hearing: LiveHearing, seconds: float | None) -> Iterator[HeardNow]:
    """What is heard as it is played, until the time is over or Ctrl-C.

    Says so when nothing comes in. Raises NoSuchDevice where the device is lost, BadValue where all was
    silence.
    """
    from tonegen.sound.input import SILENCE

    told = False
    overflows = 0
    try:
        for block in coming.blocks():
            yield from hearing.feed(block)
            since = coming.frames / coming.sample_rate
            if coming.peak < SILENCE and since > _SILENT_SECONDS and not told:
                told = True
                click.echo(NOTHING_HEARD, err=True)
            if coming.overflows > overflows:
                overflows = coming.overflows
                click.echo("This machine was too busy, and some of the sound is missing.", err=True)
            if seconds is not None and since >= seconds:
                break
    except KeyboardInterrupt:
        pass  # the usual way to end
    if coming.peak < SILENCE:
        raise BadValue(NOTHING_HEARD)


def heading_of(rig: Rig, state: State, fret: float, made_with: str, what: str) -> str:
    """What stands above a table of readings."""
    bar = f", bar at fret {fret:g}" if fret else ""
    about = f"A4 = {rig.reference_hz:g} Hz, drop {rig.drop.name}, {state}{bar}"
    return heading(rig.instrument.title, f"{about}; {what}", made_with)
