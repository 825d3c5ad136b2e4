"""tonegen drop."""

from pathlib import Path
from typing import Any

import click

from tonegen import presets
from tonegen.cli.asked import Preset
from tonegen.cli.show import as_json, print_json, print_sentence, print_table
from tonegen.dropfit.fit import DropFit, FittedCombination, FittedDrop, ReadAgain, fit_drop
from tonegen.dropfit.plan import NextReading
from tonegen.dropfit.readings import METER_CENTS, PitchReading
from tonegen.pitch import REFERENCE_HZ, checked_reference_hz
from tonegen.presets.own import save_fitted_drop
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

    Instead of cents there may be Hz, or beats counted against a tone (columns beats, against, ratio, seconds,
    and side: wide, narrow, or empty when you could not tell).
    """
    played = presets.instrument(instrument)
    fit = fit_drop(played, load_readings(readings, played, checked_reference_hz(reference)), meter)
    saved, gone = save_fitted_drop(fit, save) if save is not None else (None, ())
    if in_json:
        print_json(_json(fit) | ({"saved": str(saved)} if saved else {}))
        return
    _print(fit)
    if saved:
        for each in fit.rising:
            print_sentence(
                f"Left out: drop of string {each.string} with {each.change}, {signed(each.cents)} cents. "
                f"Strings sag; read it again first"
            )
        for together in gone:
            print_sentence(f"Gone: {together.taken_back}")
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
        "combinations": [
            {
                "string": each.string,
                "changes": list(each.changes),
                "cents": each.cents,
                "standard_error_cents": each.standard_error_cents,
                "sum_cents": each.sum_cents,
            }
            for each in fit.combinations
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
        "read_again": [
            {"string": each.string, "changes": list(each.changes), "why": str(each.doubt)}
            for each in fit.read_again
        ],
        "next_readings": [
            {"string": each.string, "changes": list(each.changes), "gain_cents": each.gain_cents}
            for each in fit.next_readings
        ],
        "scatters": [
            {"string": each.string, "scatter_cents": each.cents, "spare_readings": each.spare}
            for each in fit.scatters
        ],
    }


def _print(fit: DropFit) -> None:
    click.echo(fit.instrument.title)
    if fit.drops:
        drops: list[tuple[str, FittedDrop | FittedCombination]] = [
            *((each.change, each) for each in fit.drops),
            *(("+".join(each.changes), each) for each in fit.combinations),
        ]
        print_table(
            [">string", "change", ">drop", ">give or take"],
            [
                (str(each.string), what, signed(each.cents), f"{each.standard_error_cents:.2f}")
                for what, each in drops
            ],
            "In cents, negative when a string sags",
        )
        for together in fit.combinations:
            print_sentence(
                f"String {together.string} with {'+'.join(together.changes)} is not the sum, which would be "
                f"{signed(together.sum_cents)}"
            )
        scatters = [f"string {each.string} {each.cents:.2f}" for each in fit.scatters if each.spare]
        if scatters:
            print_sentence(f"Readings scatter by cents: {', '.join(scatters)}")
    else:
        print_sentence(
            "No drop can be worked out yet. Read the same string without a change, "
            "and with one that does not move it."
        )
    for slip in fit.outliers:
        print_sentence(
            f"Does not fit: {slip.reading.place}, {_where(slip.reading)} read {signed(slip.reading.cents)}; "
            f"{slip.verdict}"
        )
    for string, change in fit.undecided:
        click.echo(f"Not known yet: drop of string {string} with {change}")
    for again in fit.read_again:
        click.echo(f"Read this again: {_where(again)} ({again.doubt})")
    read = {each.point.string for each in fit.points}
    for each in fit.next_readings:
        why = f"narrows its error by {each.gain_cents:.2f} cents" if each.string in read else "not read yet"
        click.echo(f"Read next: {_where(each)} ({why})")


def _where(reading: PitchReading | NextReading | ReadAgain) -> str:
    return f"string {reading.string} {'with ' + '+'.join(reading.changes) if reading.changes else 'open'}"
