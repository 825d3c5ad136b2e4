"""How intervals before and after are shown, by temper and compare."""

from textwrap import fill
from typing import Any, Final

from tonegen.cli.show import print_sentence, print_table, terminal_columns
from tonegen.instrument import Instrument
from tonegen.pitch import note_name
from tonegen.tempering.demands import DemandVoice
from tonegen.tempering.purity import GripPurity, IntervalPurity, Purity, at_frets, worst_of
from tonegen.words import rate, signed

_WORST_PAIR: Final = "worst pair"
_PAIR_COLUMNS: Final = 21  # what a worst pair's cents and beats take in a table, with the space between
_NARROWEST_NAME: Final = 12
_STIFF: Final = (
    "Strings are as stiff as their gauges say, in pairs up to partial 8; cents are from where those meet."
)
_HOW_WORST: Final = "Worst beats fastest, at the fret shown; partials above 16 are too weak to count"


def grip_json(
    grip: GripPurity, instrument: Instrument, before: str = "before", after: str = "after"
) -> dict[str, Any]:
    """A grip with its intervals, each under two names."""
    wanted = grip.wanted
    return {
        "name": wanted.grip.name,
        "changes": list(wanted.state.changes),
        "travels": dict(wanted.state.travels),
        "strings": list(wanted.grip.strings),
        "weight": wanted.weight,
        "frets": list(wanted.frets),
        "intervals": [
            {
                "low": note_name(each.low.key(each.fret), instrument.flats),
                "high": note_name(each.high.key(each.fret), instrument.flats),
                **_strings(each),
                "against": each.against or None,
                "fret": each.fret,
                "ratio": str(each.ratio),
                "coincident_hz": each.coincident_hz,
                "low_stiffness": each.low_stiffness,
                "high_stiffness": each.high_stiffness,
                before: _purity_json(each.before),
                after: _purity_json(each.after),
            }
            for each in grip.intervals
        ],
    }


def _strings(interval: IntervalPurity) -> dict[str, int]:
    sides = (("low_string", interval.low), ("high_string", interval.high))
    return {key: each.string for key, each in sides if each.string is not None}


def _purity_json(purity: Purity) -> dict[str, float]:
    return {"cents_from_just": purity.cents_from_just, "beats_per_second": purity.beats_per_second}


def print_grips(
    grips: tuple[GripPurity, ...],
    before: str,
    after: str,
    every_interval: bool,
    by_cents: bool = False,
    worst_row: int | None = None,
) -> None:
    """Each grip by its worst pair, the one that beats fastest unless it is by cents, or all intervals.

    worst_row : of the demand that decided, where the worst is least: a pair that is too weak to be a grip's
    worst has a row of its own where it is that one.
    """
    _print_tables(grips, before, after, every_interval, by_cents, worst_row)
    if any(each.low_stiffness or each.high_stiffness for grip in grips for each in grip.intervals):
        print_sentence(_STIFF)


def _print_tables(
    grips: tuple[GripPurity, ...],
    before: str,
    after: str,
    every_interval: bool,
    by_cents: bool,
    worst_row: int | None,
) -> None:
    if every_interval:
        for grip in grips:
            print_table(
                [
                    "pair\n",
                    "stands for",
                    f">{before}\ncents",
                    "\nbeats",
                    f">{after}\ncents",
                    "\nbeats",
                    ">listen\nat",
                ],
                [_row(*pair, max(grip.wanted.frets)) for pair in grip.pairs(by_cents)],
                f"{grip.wanted.grip.name} ({grip.wanted.state}, fret {max(grip.wanted.frets):g})",
            )
        return
    pairs = sum(_PAIR_COLUMNS + max(len(side), len(_WORST_PAIR)) for side in (before, after))
    room = max(_NARROWEST_NAME, terminal_columns() - pairs)
    rows = []
    for grip in grips:
        for against in dict.fromkeys(each.against for each in grip.intervals):
            chosen = [each for each in grip.intervals if each.against == against]
            was = worst_of(chosen, lambda each: each.before, by_cents)
            now = worst_of(chosen, lambda each: each.after, by_cents)
            name, indent = (f"against {against}", "  ") if against else (grip.wanted.grip.name, "")
            name += f", {at_frets(was, now)}"
            rows.append([
                _folded(name, room, indent),
                *_worst(was, was.before),
                *_worst(now, now.after),
            ])  # fmt: skip
        rows += [
            [_folded(f"weak, but decides, fret {each.fret:g}", room, "  "),
             *_worst(each, each.before), *_worst(each, each.after)]
            for each in grip.intervals
            if each.row == worst_row and each.is_weak and not by_cents
        ]  # fmt: skip
    print_table(
        [
            "grip\n",
            f"{before}\n{_WORST_PAIR}",
            ">\ncents",
            "\nbeats",
            f"{after}\n{_WORST_PAIR}",
            ">\ncents",
            "\nbeats",
        ],
        rows,
        "Beats at the fret shown" if by_cents else _HOW_WORST,
    )


def worst_pair(interval: IntervalPurity) -> str:
    """The strings of an interval and what they stand for."""
    voices = (interval.low, interval.high)
    strings = "–".join(str(each.string) for each in voices if each.string is not None)
    return f"{strings} {interval.ratio}"


def _folded(name: str, room: int, indent: str = "") -> str:
    """The name of a row in as many lines as it takes for the table to fit the terminal."""
    return fill(
        name, room, initial_indent=indent, subsequent_indent=indent, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip


def _worst(interval: IntervalPurity, purity: Purity) -> tuple[str, str, str]:
    return (
        worst_pair(interval),
        signed(purity.cents_from_just, 1),
        rate(purity.beats_per_second),
    )


def _row(was: IntervalPurity, now: IntervalPurity, highest_fret: float) -> tuple[str, ...]:
    elsewhere = now.against or (was.fret, now.fret) != (highest_fret, highest_fret)
    return (
        f"{_voice(now.low)}–{_voice(now.high)}{f' {at_frets(was, now)}' if elsewhere else ''}",
        f"{now.ratio} {now.ratio.name}".rstrip(),
        signed(was.before.cents_from_just, 1),
        rate(was.before.beats_per_second),
        signed(now.after.cents_from_just, 1),
        rate(now.after.beats_per_second),
        f"{now.coincident_hz:.0f} Hz",
    )


def _voice(voice: DemandVoice) -> str:
    return voice.label if voice.string is None else str(voice.string)
