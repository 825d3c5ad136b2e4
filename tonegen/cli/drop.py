"""tonegen drop."""

from pathlib import Path
from typing import Any

import click

from tonegen import presets
from tonegen.cli.asked import Preset
from tonegen.cli.show import as_json, print_json, print_sentence, print_table
from tonegen.dropfit import METER_CENTS, DropFit, NextReading, PitchReading, fit_drop
from tonegen.pitch import REFERENCE_HZ, checked_reference_hz
from tonegen.presets.own import save_drop
from tonegen.presets.readings import readings as load_readings
from tonegen.words import signed


@click.command()
@click.argument("readings", type=click.Path(path_type=Path))
@click.option("--instrument", type=Preset("instruments"), required=True, help="By name or TOML file.")
@click.option("--reference", type=float, default=REFERENCE_HZ, show_default=True, help="A4 in Hz.")
@click.option(
    "--meter", type=float, default=METER_CENTS, show_default=True, help="How accurate the meter is, in cents."
)
@click.option("--save", metavar="NAME", help="Save the drop as a profile of your own.")
@as_json
def command(
    readings: Path, instrument: str, reference: float, meter: float, save: str | None, in_json: bool
) -> None:
    """Cabinet drop from readings of a pitch meter.

    READINGS is a CSV file with a heading. Each line is one reading: the string, the changes engaged, and what
    was read, in any order, with as many repeats as you like.

    \b
    string,changes,cents
    8,,3.0
    8,A,0.8
    8,A+B,-0.9

    Instead of cents there may be Hz, or beats counted in a second against a tone (columns beats, against,
    ratio; wide is positive).
    """
    played = presets.instrument(instrument)
    fit = fit_drop(played, load_readings(readings, played, checked_reference_hz(reference)), meter)
    saved = save_drop(fit.profile(save), played) if save is not None else None
    if in_json:
        print_json(_json(fit) | ({"saved": str(saved)} if saved else {}))
        return
    _print(fit)
    if saved:
        click.echo(f"Saved as {saved.stem}: {saved}")
        click.echo(f"Next, use it in other commands with --drop {saved.stem}, or in a scene")


def _json(fit: DropFit) -> dict[str, Any]:
    return {
        "instrument": fit.instrument.name,
        "drops": [
            {
                "string": each.string,
                "change": each.change,
                "cents": each.cents,
                "standard_error_cents": each.standard_error_cents,
            }
            for each in fit.drops
        ],
        "points": [
            {
                "string": each.point.string,
                "changes": list(each.point.changes),
                "offset_cents": each.cents,
                "standard_error_cents": each.standard_error_cents,
            }
            for each in fit.points
        ],
        "outliers": [
            {
                "place": each.reading.place,
                "string": each.reading.string,
                "changes": list(each.reading.changes),
                "cents": each.reading.cents,
                "expected_cents": each.expected_cents,
                "refused": each.refused,
            }
            for each in fit.outliers
        ],
        "undecided": [{"string": string, "change": change} for string, change in fit.undecided],
        "next_readings": [
            {"string": each.string, "changes": list(each.changes), "gain_cents": each.gain_cents}
            for each in fit.next_readings
        ],
        "scatter_cents": fit.scatter_cents,
    }


def _print(fit: DropFit) -> None:
    click.echo(fit.instrument.title)
    if fit.drops:
        print_table(
            [">string", "change", ">drop", ">give or take"],
            [
                (str(each.string), each.change, signed(each.cents), f"{each.standard_error_cents:.2f}")
                for each in fit.drops
            ],
            f"In cents, negative when a string sags; the readings scatter by {fit.scatter_cents:.2f} cents",
        )
    else:
        print_sentence(
            "No drop can be worked out yet. Read the same string without a change, "
            "and with one that does not move it."
        )
    for slip in fit.outliers:
        verdict = f"the others say {signed(slip.expected_cents)}"
        if not slip.refused:
            verdict = "contradicts another reading; take both again"
        print_sentence(
            f"Does not fit: {slip.reading.place}, {_where(slip.reading)} read {signed(slip.reading.cents)}; "
            f"{verdict}"
        )
    for string, change in fit.undecided:
        click.echo(f"Not known yet: drop of string {string} with {change}")
    read = {each.point.string for each in fit.points}
    for each in fit.next_readings:
        why = f"narrows its error by {each.gain_cents:.2f} cents" if each.string in read else "not read yet"
        click.echo(f"Read next: {_where(each)} ({why})")


def _where(reading: PitchReading | NextReading) -> str:
    return f"string {reading.string} {'with ' + '+'.join(reading.changes) if reading.changes else 'open'}"
