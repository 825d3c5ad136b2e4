"""How intervals before and after are shown, by temper and compare."""

from typing import Any

from tonegen.cli.show import print_table, signed
from tonegen.demands import Voice
from tonegen.instrument import Instrument, TuningPoint
from tonegen.interval import Audible, audible
from tonegen.pitch import note_name
from tonegen.temper import GripPurity, IntervalPurity, Purity


def point_json(point: TuningPoint) -> dict[str, Any]:
    """A tuning point."""
    return {"string": point.string, "changes": list(point.changes)}


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


def print_grips(grips: tuple[GripPurity, ...], before: str, after: str, every_interval: bool) -> None:
    """Each grip by its fastest pair that can be counted, or all intervals of all grips."""
    if every_interval:
        for grip in grips:
            print_table(
                [
                    "pair",
                    "stands for",
                    f">{before}: cents",
                    "beats",
                    f">{after}: cents",
                    "beats",
                    ">listen at",
                ],
                [_row(each) for each in grip.intervals],
                f"{grip.wanted.grip.name} ({grip.wanted.state})",
            )
        return
    rows = []
    for grip in grips:
        for against in dict.fromkeys(each.against for each in grip.intervals):
            chosen = [each for each in grip.intervals if each.against == against]
            name = f"  against {against}" if against else grip.wanted.grip.name
            was = max(chosen, key=lambda each: abs(each.before.cents_from_just))
            now = max(chosen, key=lambda each: abs(each.after.cents_from_just))
            rows.append((name, *_worst(was, was.before), *_worst(now, now.after)))
    print_table(
        ["grip", f"{before}: worst pair", ">cents", "beats", f"{after}: worst pair", ">cents", "beats"], rows
    )


def _worst(interval: IntervalPurity, purity: Purity) -> tuple[str, str, str]:
    pair = f"{_voice(interval.low)}–{_voice(interval.high)} {interval.ratio}"
    return pair, signed(purity.cents_from_just, 1), rate_in_words(purity.beats_per_second)


def _row(interval: IntervalPurity) -> tuple[str, ...]:
    fret = f" fret {interval.fret:g}" if interval.against else ""
    return (
        f"{_voice(interval.low)}–{_voice(interval.high)}{fret}",
        f"{interval.ratio} {interval.ratio.name}".rstrip(),
        signed(interval.before.cents_from_just, 1),
        rate_in_words(interval.before.beats_per_second),
        signed(interval.after.cents_from_just, 1),
        rate_in_words(interval.after.beats_per_second),
        f"{interval.coincident_hz:.0f} Hz",
    )


def _voice(voice: Voice) -> str:
    return voice.label if voice.string is None else str(voice.string)


def rate_in_words(beats_per_second: float) -> str:
    """A rate with its side, or what it is where it cannot be counted."""
    kind = Audible(str(audible(beats_per_second)))
    if kind is Audible.TOO_SLOW:
        return "pure" if abs(beats_per_second) < 0.001 else "slow"
    side = "wide" if beats_per_second > 0 else "narrow"
    if kind is Audible.ROUGHNESS:
        return f"rough, {side}"
    return f"{abs(beats_per_second):.2f}/s {side}"
