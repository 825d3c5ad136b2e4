"""tonegen chart."""

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tonegen.cli.asked import AskedRig, Preset, asks_for_a_rig, stiff_option
from tonegen.cli.show import (
    as_json,
    force_option,
    heading,
    point_json,
    print_json,
    print_sentence,
    print_table,
    reading_json,
)
from tonegen.copedent import CellTarget, Copedent, copedent
from tonegen.drop import Drop
from tonegen.errors import BadPreset, BadValue
from tonegen.instrument import Instrument, TuningPoint
from tonegen.reads import Reading, readings_by_point, states_played
from tonegen.setup.context import context_of
from tonegen.temperament import Temperament
from tonegen.wire import HIGHEST_SAFE_FRACTION_OF_STRENGTH

if TYPE_CHECKING:
    from tonegen.tempering.scene import Scene


@click.command()
@asks_for_a_rig("The temperament that sets the targets.")
@click.option(
    "--scene",
    type=Preset("scenes"),
    help='Whose grips the card has; if left out, that of the temperament, "none": the instrument\'s own.',
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Write a card for the gig bag, with beats and tuning order: .pdf, .svg or .png.",
)
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="The card's."
)
@stiff_option
@force_option
@as_json
def command(
    asked: AskedRig,
    scene: str | None,
    out: Path | None,
    paper: str,
    stiff: bool,
    force: bool,
    in_json: bool,
) -> None:
    """Chart of strings by changes, with targets and pitch readings.

    Each cell is a tuning point: its note, its target in cents from equal temperament, and the Hz that a
    pitch reading must show with only that change engaged.

    \b
    tonegen chart --instrument e9-ten-string --temperament five-limit-just
    tonegen chart --instrument e9-ten-string --temperament my-e9 --out card.pdf
    tonegen chart --instrument e9-ten-string --scene e9-dance-band --out card.pdf --paper letter
    """
    rig, made_with = asked.rig()
    played, target, sag, reference_hz = rig.instrument, rig.targets, rig.drop, rig.reference_hz
    wanted = _scene_of(played, target, scene) if out is not None or scene is not None else None
    if wanted is not None and scene is not None:
        sag = sag if asked.drop is not None else wanted.drop
        reference_hz = reference_hz if asked.reference is not None else wanted.reference_hz
        made_with = f"As in {wanted.name}: drop {sag.name} and A4 = {reference_hz:g} Hz"
    chart = copedent(played, target, sag, reference_hz)
    if out is not None:
        from tonegen.order.plan import tuning_order
        from tonegen.paper.card import Card, draw, own_grips
        from tonegen.paper.printing import write_pages

        points = wanted.points() if wanted else ()
        states = wanted.states if wanted else ()
        grips, title = (wanted.grips, wanted.title or wanted.name) if wanted else (own_grips(played), "")
        plan = tuning_order(
            played, target, sag, reference_hz,
            points=points, stiff=stiff, played=states,
        )  # fmt: skip
        card = Card(chart, target, sag, plan, grips, title, stiff)
        written = write_pages(lambda: draw(card, paper), out, force=force)
        if not in_json:
            click.echo(heading(f"Written: {', '.join(map(str, written))}", made_with))
            for caution in cautions(chart):
                click.echo(f"Caution: {caution}")
            return
    states = states_played(played, (each.state for each in wanted.grips) if wanted else None)
    shown = readings_by_point(played, target, sag, reference_hz, states)
    if in_json:
        print_json(
            {**_json(chart, sag), "readings": [reading_json(each) for at in shown.values() for each in at]}
        )
        return
    _print(chart, made_with, shown)


def _scene_of(instrument: Instrument, target: Temperament, name: str | None) -> "Scene | None":
    """The scene of the card: the one asked for, else that of the temperament; none for "none"."""
    from tonegen.presets.scenes import scene as load_scene

    made_for = context_of(target).scene
    asked = made_for if name is None else name
    if asked is None or asked == "none":
        return None
    try:
        found = load_scene(asked)
    except BadPreset as error:
        if name is not None:
            raise
        raise BadPreset(f"{target.name} was made for scene {asked}: {error}; or give --scene") from None
    if found.instrument.name != instrument.name:
        raise BadValue(f"--scene {asked} is for {found.instrument.name}; give another, or none")
    return found


def _json(chart: Copedent, sag: Drop) -> dict[str, object]:
    return {
        "instrument": chart.instrument.name,
        "reference_hz": chart.reference_hz,
        "drop": sag.name,
        "points": [
            {
                **point_json(target.point),
                "note": target.note,
                "offset_cents": target.offset_cents,
                "hz": target.hz,
                "asked": target.asked,
            }
            for target in chart.targets
        ],
        "drops": [
            {"string": string, "change": change, "cents": cents}
            for change, strings in chart.drop_cents.items()
            for string, cents in strings.items()
        ],
        "grips": [
            {
                "name": grip.name,
                "changes": list(grip.changes),
                "root": grip.root,
                "strings": [
                    {"string": string, "role": role, "ratio": str(ratio)}
                    for string, role, ratio in zip(grip.strings, grip.roles, grip.ratios, strict=True)
                ],
            }
            for grip in chart.instrument.grips
        ],
        "cautions": cautions(chart),
    }


def _cell(target: CellTarget) -> str:
    return f"{target.note}\n{target.offset_in_words}\n{target.hz:.2f}"


def cautions(chart: Copedent, points: Collection[TuningPoint] | None = None) -> list[str]:
    """What may break, of all targets or of those at these points, in words."""
    found = []
    for target, share in chart.strained():
        if points is not None and target.point not in points:
            continue
        pulled = "is far above its usual pitch"
        if share is not None and share > HIGHEST_SAFE_FRACTION_OF_STRENGTH:
            pulled = f"is at {share:.0%} of its wire's minimum strength"
        found.append(
            f"{target.point} at {target.hz:.1f} Hz {pulled}: it may break; "
            f"ask its maker or a technician first"
        )
    return found


def _print(chart: Copedent, made_with: str, shown: Mapping[TuningPoint, tuple[Reading, ...]]) -> None:
    columns = chart.columns
    rows = []
    for string in chart.instrument.strings:
        cells = []
        for state in columns:
            target = chart.tuned_in(string.number, state)
            cells.append(_cell(target) if target else "")
        rows.append((str(string.number), *cells))
    print_table(
        ["", *(f">{state.typed}" for state in columns)],
        rows,
        heading(
            chart.instrument.title,
            f"A4 = {chart.reference_hz:g} Hz; note, cents from equal, Hz to read",
            made_with,
            "In brackets: not asked by any grip, left as it was" * (not all(t.asked for t in chart.targets)),
        ),
        lines=True,
    )
    # Not in the cells: with a line for each state the table would be twice as wide as a page.
    if shown:
        click.echo("With drop, in the states that are played, a meter reads instead:")
    for point, readings in shown.items():
        reads = ", ".join(map(str, readings))
        print_sentence(f"S{str(point)[1:]}: {reads}")
    for caution in cautions(chart):
        click.echo(f"Caution: {caution}")
