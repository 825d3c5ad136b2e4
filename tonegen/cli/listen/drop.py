"""tonegen listen drop."""

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import click
import numpy as np
from numpy.typing import NDArray

from tonegen.cli.asked import AskedRig, asks_for_a_rig
from tonegen.cli.listen.asked import (
    SECONDS,
    Heard,
    changes_option,
    clock_of,
    device_option,
    expected,
    fret_option,
    heading_of,
    opened_input,
    played,
    refuse_two_sources,
    sound_if_recorded,
    target,
    with_picks,
)
from tonegen.cli.show import as_json, force_option, print_json, print_sentence
from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.instrument import State
from tonegen.listen.heard import UnreadSound, heard, moved
from tonegen.listen.live import LiveHearing
from tonegen.listen.picks import Pick
from tonegen.listen.pressed import LONGEST_SECONDS, pressed
from tonegen.listen.spectrum import Expected
from tonegen.presets.learned import learned_strings
from tonegen.sound.recordings import Recording
from tonegen.words import signed
from tonegen.writing import refuse_what_exists, written_whole

Array = NDArray[np.float64]

_PICKS: Final = 4  # open, engaged, open, engaged
_RINGS: Final = 2
_LEAST_ERROR_CENTS: Final = 0.02  # two picks of one string are not alike beyond that
_BEFORE_PRESS_SECONDS: Final = 0.1


@dataclass(frozen=True, slots=True)
class _Moves(Frozen):
    """What was heard. off_cents : of the string at rest, above its target; drops, errors (k,): each time."""

    off_cents: float
    drops: Array
    errors: Array


@click.command()
@sound_if_recorded
@asks_for_a_rig("The temperament that the strings are tuned to.")
@click.option("--string", type=int, required=True, help="The string that is picked.")
@changes_option
@fret_option
@click.option(
    "--ringing", is_flag=True, help="The changes are engaged, and let go again, while a pick rings on."
)
@click.option(
    "--out", type=click.Path(path_type=Path), help="Write the readings as a list for tonegen drop (CSV)."
)
@force_option
@device_option
@as_json
def command(
    sound: Path | None,
    asked: AskedRig,
    string: int,
    changes: Mapping[str, float] | None,
    fret: float,
    ringing: bool,
    out: Path | None,
    force: bool,
    device: str | None,
    in_json: bool,
) -> None:
    """Hear how far a string drops when changes are engaged.

    In SOUND the string is picked at rest, with the changes engaged, at rest, and so on: twice each, or more
    often. Let each pick ring for a second, and damp it before the next. With --device you are asked for each
    as you play.

    Or pick it at rest and, while it rings on, engage the changes after a second and let them go after
    another: --ringing. That is quicker and half as sure; each further pick makes it surer.

    \b
    tonegen listen drop pedal-a.wav --instrument e9-ten-string --string 4 --changes A
    tonegen listen drop pedal-a.wav --instrument e9-ten-string --string 4 --changes A --out readings.csv
    tonegen listen drop pedal-a.wav --instrument e9-ten-string --string 4 --changes A --ringing
    tonegen listen drop --device 2 --instrument e9-ten-string --string 4 --changes A --out readings.csv
    """
    refuse_two_sources(sound, device)
    if out is not None and not force:
        refuse_what_exists(out)
    rig, made_with = asked.rig()
    state, rest = rig.instrument.state(changes or {}), rig.instrument.state()
    if not state.travels:
        raise BadValue("--changes: say which changes are engaged at every second pick, such as A")
    if any(travel < 1 for travel in state.travels.values()):
        raise BadValue(
            f"--changes: {state} is between its stops; drop is counted with changes at their stops"
        )
    if rig.instrument.own_changes(string, state):
        raise BadValue(
            f"string {string} is moved by {state} itself; what the cabinet gives then is in its tuning"
        )
    at_rest = target(rig, string, rest, fret)
    listened_for = expected(rig, at_rest, learned_strings(rig.instrument))

    if ringing:
        heard_moves = _while_it_rings(sound, device, listened_for, state)
    else:
        heard_moves = _by_turns(sound, device, listened_for, state)
    drops = heard_moves.drops
    told = max(float(np.sqrt(np.mean(heard_moves.errors**2))), _LEAST_ERROR_CENTS)
    scatter = float(drops.std(ddof=1)) if len(drops) > 1 else 0.0
    drop, error = float(drops.mean()), max(told, scatter) / float(np.sqrt(len(drops)))
    reads = at_rest.cents + heard_moves.off_cents
    if out is not None:
        engaged = "+".join(state.changes)
        lines = f"string,changes,cents\n{string},,{reads:.3f}\n{string},{engaged},{reads + drop:.3f}\n"
        with written_whole(out, force=force) as beside:
            beside.write_text(lines)
    if in_json:
        print_json({
            "string": string, "engaged": dict(state.travels), "drop_cents": drop, "error_cents": error,
            "reads_cents": reads, "moved_cents": [float(each) for each in drops],
        })  # fmt: skip
        return
    how = "engaged while it rings" if ringing else "picked at rest and with these by turns"
    click.echo(heading_of(rig, state, fret, made_with, how))
    print_sentence(
        f"String {string} ({at_rest.tone.name}) moves by {signed(drop)} cents with {state}, "
        f"give or take {error:.2f}: {', '.join(signed(each) for each in drops)}"
    )
    if drop > 3 * error:
        print_sentence("It rises, and cabinets sag: was it picked at rest first?")
    if out is not None:
        print_sentence(f"Written: {out}; next, tonegen drop {out} --instrument {rig.instrument.name}")


def _by_turns(sound: Path | None, device: str | None, listened_for: Expected, state: State) -> _Moves:
    """Picks at rest and with the changes engaged: each against the one before."""
    picked: list[tuple[Array, int]] = []

    def read(part: Array, rate: int) -> tuple[float, float]:
        if picked:
            found = moved(picked[-1][0], part, rate, listened_for)
        else:
            first = heard(part, rate, [listened_for])
            found = first.cents, first.error_cents
        picked.append((part, rate))
        return found

    string = f"string {listened_for.string}, {listened_for.name}"
    asks = itertools.cycle((f"Open, no pedals: pick {string}", f"Engage {state}: pick {string}"))
    if sound is None:
        how = "let it ring for a second, and damp it"
        by_clock, found = _as_asked_for(device, listened_for, asks, how, read, _PICKS, SECONDS)
    else:
        by_clock, found = 0.0, _as_recorded(sound, read, SECONDS)
    (off, _), *steps = found
    if not steps:
        raise BadValue(f"{sound}: one pick is heard; pick at rest, then with {state}, twice each")
    cents, errors = np.array(steps).T
    return _Moves(off + by_clock, cents * (-1.0) ** np.arange(len(cents)), errors)


def _while_it_rings(sound: Path | None, device: str | None, listened_for: Expected, state: State) -> _Moves:
    """Picks during each of which the changes are engaged and let go."""

    def read(part: Array, rate: int) -> tuple[float, float, float]:
        press = pressed(part, rate, listened_for)
        at_rest = part[: round((press.engaged_seconds - _BEFORE_PRESS_SECONDS) * rate)]
        return press.cents, press.error_cents, heard(at_rest, rate, [listened_for]).cents

    if sound is None:
        ask = f"Open, no pedals: pick string {listened_for.string}, {listened_for.name}"
        how = f"let it ring; after a second engage {state}, after another let go"
        asks = itertools.repeat(ask)
        by_clock, found = _as_asked_for(device, listened_for, asks, how, read, _RINGS, LONGEST_SECONDS)
    else:
        by_clock, found = 0.0, _as_recorded(sound, read, LONGEST_SECONDS)
    cents, errors, off = np.array(found).T
    return _Moves(float(off.mean()) + by_clock, cents, errors)


def _as_recorded(sound: Path, read: Callable[[Array, int], Heard], seconds: float) -> tuple[Heard, ...]:
    """What is read of each pick of a file."""

    def hear(recording: Recording, picks: Sequence[Pick]) -> Iterator[Heard]:
        for number, pick in enumerate(picks, start=1):
            try:
                yield read(recording.part(pick.first, pick.end), recording.sample_rate)
            except UnreadSound as why:
                raise BadValue(f"{sound}: pick {number}, at {pick.seconds:.2f} s: {why}") from None

    return with_picks(sound, hear, seconds)


def _as_asked_for(
    device: str | None,
    listened_for: Expected,
    asks: Iterator[str],
    how: str,
    read: Callable[[Array, int], Heard],
    picks: int,
    seconds: float,
) -> tuple[float, tuple[Heard, ...]]:
    """The same of picks that the player is asked for, and what the card's clock adds to a pitch.

    What cannot be read is asked for again.
    """
    found: list[Heard] = []
    with opened_input(device) as coming:
        clock, about_clock = clock_of(coming.device)
        click.echo(f"Listening to {coming.device}. {about_clock}", err=True)
        ask = next(asks)
        click.echo(f"{ask}, {how}.", err=True)
        hearing = LiveHearing(coming.sample_rate, [listened_for], seconds)
        for now in played(coming, hearing, None):
            if not now.whole:
                continue
            try:
                found.append(read(now.sound, coming.sample_rate))
            except UnreadSound as why:
                click.echo(f"That was no reading: {why}. {ask} again.", err=True)
                continue
            if len(found) == picks:
                return clock.cents, tuple(found)
            ask = next(asks)
            click.echo(f"{ask}.", err=True)
    raise BadValue(f"ended before all {picks} picks were heard; nothing is known of the drop yet")
