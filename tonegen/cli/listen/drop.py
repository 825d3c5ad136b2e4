"""tonegen listen drop."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

import click
import numpy as np

from tonegen.cli.asked import AskedRig, asks_for_a_rig
from tonegen.cli.listen.asked import (
    changes_option,
    expected,
    fret_option,
    heading_of,
    sound_argument,
    target,
    with_picks,
)
from tonegen.cli.show import as_json, force_option, print_json, print_sentence
from tonegen.errors import BadValue
from tonegen.listen.heard import UnreadSound, heard, moved
from tonegen.listen.picks import Pick
from tonegen.sound.recordings import Recording
from tonegen.words import signed
from tonegen.writing import written_whole

_LEAST_ERROR_CENTS: Final = 0.02  # two picks of one string are not alike beyond that


@click.command()
@sound_argument
@asks_for_a_rig("The temperament that the strings are tuned to.")
@click.option("--string", type=int, required=True, help="The string that is picked.")
@changes_option
@fret_option
@click.option(
    "--out", type=click.Path(path_type=Path), help="Write the readings as a list for tonegen drop (CSV)."
)
@force_option
@as_json
def command(
    sound: Path,
    asked: AskedRig,
    string: int,
    changes: Mapping[str, float] | None,
    fret: float,
    out: Path | None,
    force: bool,
    in_json: bool,
) -> None:
    """Hear how far a string drops when changes are engaged.

    In SOUND the string is picked at rest, with the changes engaged, at rest, and so on: twice each, or more
    often. Let each pick ring for a second, and damp it before the next.

    \b
    tonegen listen drop pedal-a.wav --instrument e9-ten-string --string 4 --changes A
    tonegen listen drop pedal-a.wav --instrument e9-ten-string --string 4 --changes A --out readings.csv
    """
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
    listened_for = expected(rig, at_rest)

    def hear(recording: Recording, picks: Sequence[Pick]) -> Iterator[tuple[float, float]]:
        """The reading at rest, then how far each pick lies above the one before."""
        parts = [recording.part(pick.first, pick.end) for pick in picks]
        rate = recording.sample_rate
        for number, (pick, part) in enumerate(zip(picks, parts, strict=True)):
            try:
                if number:
                    yield moved(parts[number - 1], part, rate, listened_for)
                else:
                    first = heard(part, rate, [listened_for])
                    yield first.cents, first.error_cents
            except UnreadSound as why:
                raise BadValue(f"{sound}: pick {number + 1}, at {pick.seconds:.2f} s: {why}") from None

    (off_cents, _), *steps = with_picks(sound, hear)
    if not steps:
        raise BadValue(f"{sound}: one pick is heard; pick at rest, then with {state}, twice each")
    drops = np.array([cents if number % 2 == 0 else -cents for number, (cents, _) in enumerate(steps)])
    told = max(float(np.sqrt(np.mean([error**2 for _, error in steps]))), _LEAST_ERROR_CENTS)
    scatter = float(drops.std(ddof=1)) if len(drops) > 1 else 0.0
    drop, error = float(drops.mean()), max(told, scatter) / float(np.sqrt(len(drops)))
    reads = at_rest.cents + off_cents
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
    click.echo(heading_of(rig, state, fret, made_with, "picked at rest and with these by turns"))
    print_sentence(
        f"String {string} ({at_rest.tone.name}) moves by {signed(drop)} cents with {state}, "
        f"give or take {error:.2f}: {', '.join(signed(each) for each in drops)}"
    )
    if drop > 3 * error:
        print_sentence("It rises, and cabinets sag: was it picked at rest first?")
    if out is not None:
        print_sentence(f"Written: {out}; next, tonegen drop {out} --instrument {rig.instrument.name}")
