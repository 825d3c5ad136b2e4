"""How results look: one JSON object on a line of its own, a table for a person, or a file."""

import json
from collections.abc import Mapping, Sequence
from shutil import get_terminal_size
from textwrap import fill
from typing import Any

import click

from tonegen.cli.plain import is_printed_whole
from tonegen.instrument import State, TuningPoint
from tonegen.interval import Audible, Direction
from tonegen.reads import Reading
from tonegen.sounding import Sounding, SoundingInterval, SoundingTone
from tonegen.words import a_minute, in_ten_seconds, rate_and_side, signed

as_json = click.option("--json", "in_json", is_flag=True, help="Print JSON, at full precision.")
force_option = click.option("--force", is_flag=True, help="Overwrite an existing file.")


def print_json(result: Mapping[str, Any]) -> None:
    """Print one JSON object. Numbers keep full precision and names stay whole; there are no NaN in it."""
    text = json.dumps(result, ensure_ascii=False, allow_nan=False)
    click.echo(text if is_printed_whole(text) else json.dumps(result, allow_nan=False))


def print_sentence(text: str) -> None:
    """Print a sentence, broken between words where the terminal ends, all but its first line indented."""
    click.echo(folded(text))


def folded(text: str) -> str:
    """A sentence, broken between words where the terminal ends, all but its first line indented."""
    return fill(
        text, terminal_columns(), subsequent_indent="  ", break_long_words=False, break_on_hyphens=False
    )


def terminal_columns() -> int:
    """How wide a line may be: that of the terminal, 80 without one, and not so wide that reading is hard."""
    return max(40, min(get_terminal_size().columns, 110))


def print_table(
    columns: Sequence[str], rows: Sequence[Sequence[str]], title: str = "", lines: bool = False
) -> None:
    """Print a table, with `lines` between its rows; a column whose heading begins with > is aligned right.

    A cell may have several lines. The table is as wide as it must be: a chart with a cell cut off is of no
    use. Plain text of our own, because this is on the way of every command: a library for it would take
    longer to import than all the arithmetic takes.
    """
    headings = [heading.removeprefix(">") for heading in columns]
    cells = [[cell.split("\n") for cell in row] for row in [headings, *rows]]
    widths = [max(len(line) for row in cells for line in row[column]) for column in range(len(columns))]

    def text(row: Sequence[Sequence[str]]) -> str:
        height = max(len(cell) for cell in row)
        return "\n".join(
            "  ".join(
                (cell[line] if line < len(cell) else "").rjust(width)
                if heading.startswith(">")
                else (cell[line] if line < len(cell) else "").ljust(width)
                for cell, width, heading in zip(row, widths, columns, strict=True)
            ).rstrip()
            for line in range(height)
        )

    rule = "─" * (sum(widths) + 2 * (len(widths) - 1))
    heading, *body = map(text, cells)
    separator = "\n\n" if lines else "\n"
    click.echo("\n".join([*([title] if title else []), heading, rule, separator.join(body), ""]))


def heading(*lines: str) -> str:
    """What stands above a table; lines without words are left out."""
    return "\n".join(filter(None, lines))


def sounding_json(sounding: Sounding) -> dict[str, Any]:
    """The stable keys of `beats`, `play` and `render`."""
    return {
        "reference_hz": sounding.reference_hz,
        "tones": [tone_json(tone) for tone in sounding.tones],
        "intervals": [interval_json(interval) for interval in sounding.intervals],
    }


def tone_json(tone: SoundingTone) -> dict[str, Any]:
    """One tone; string, changes and fret only where an instrument plays it."""
    of_string = {}
    if tone.string is not None:
        of_string = {
            "string": tone.string,
            "changes": list(tone.changes),
            "travels": _travels(tone),
            "fret": tone.fret,
        }
        if tone.role:
            of_string["role"] = tone.role
    return {
        "name": tone.name,
        **of_string,
        "hz": tone.hz,
        "offset_cents": tone.offset_cents,
        "drop_cents": tone.drop_cents,
        "stiffness": tone.stiffness,
    }


def _travels(tone: SoundingTone) -> dict[str, float]:
    return dict(zip(tone.changes, tone.travels, strict=True))


def point_json(point: TuningPoint) -> dict[str, Any]:
    """A tuning point."""
    return {"string": point.string, "changes": list(point.changes), "travel": point.travel}


def reading_json(each: Reading) -> dict[str, Any]:
    """One reading at full precision."""
    return {
        "string": each.string,
        "engaged": dict(each.state.travels),
        "fret": each.tone.fret,
        "note": each.tone.name,
        "offset_cents": each.tone.offset_cents,
        "drop_cents": each.tone.drop_cents,
        "reads_cents": each.cents,
        "hz": each.tone.hz,
    }


def interval_json(interval: SoundingInterval) -> dict[str, Any]:
    """One interval with its lowest coincident pair, and all listed pairs under "coincident"."""
    strings = {
        key: tone.string
        for key, tone in (("low_string", interval.low), ("high_string", interval.high))
        if tone.string is not None
    }
    return {
        "low": interval.low.name,
        "high": interval.high.name,
        **strings,
        "low_hz": interval.low.hz,
        "high_hz": interval.high.hz,
        "ratio": str(interval.ratio),
        "interval": interval.ratio.name,
        "cents": interval.cents,
        "cents_from_just": interval.cents_from_just,
        "beats_per_second": interval.beats_per_second,
        "direction": interval.direction.value,
        "coincident_hz": interval.coincident_hz,
        "audible": interval.audible.value,
        "coincident": [
            {
                "low_partial": pair.low_partial,
                "high_partial": pair.high_partial,
                "hz": pair.hz,
                "beats_per_second": pair.beats_per_second,
            }
            for pair in interval.pairs
        ],
    }


_FOOTNOTES = {
    Audible.ROUGHNESS: "rough: faster than 15 beats a second is heard as roughness and cannot be counted",
    Audible.TOO_SLOW: "slow: less than one beat in 20 seconds is slower than you can count",
}


def print_sounding(sounding: Sounding, made_with: str = "") -> None:
    """Tones, then intervals with their beats; made_with : what the temperament brought along."""
    print_table(
        ["tone", "string", ">Hz", ">offset", ">drop"],
        [_tone_row(tone) for tone in sounding.tones],
        heading(f"A4 = {sounding.reference_hz:g} Hz; offset and drop in cents", made_with),
    )
    if sounding.intervals:
        print_table(
            ["interval", "stands for", ">cents", "beats", ">in 10 s", ">a minute", ">listen at"],
            [_interval_row(interval) for interval in sounding.intervals],
        )
    for audible, footnote in _FOOTNOTES.items():
        if any(it.audible is audible and it.direction is not Direction.PURE for it in sounding.intervals):
            click.echo(footnote)


def _tone_row(tone: SoundingTone) -> tuple[str, ...]:
    engaged = State(_travels(tone)).typed if tone.changes else ""
    where = "" if tone.string is None else f"{tone.string} {engaged}".rstrip()
    return (tone.name, where, f"{tone.hz:.3f}", signed(tone.offset_cents), signed(tone.drop_cents))


def _interval_row(interval: SoundingInterval) -> tuple[str, ...]:
    return (
        f"{interval.low.name}–{interval.high.name}",
        f"{interval.ratio} {interval.ratio.name}".rstrip(),
        signed(interval.cents_from_just),
        rate_and_side(interval.beats_per_second),
        in_ten_seconds(interval.beats_per_second),
        a_minute(interval.beats_per_second),
        f"{interval.coincident_hz:.0f} Hz",
    )
