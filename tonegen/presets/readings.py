"""Readings of a pitch meter from a CSV file, each fault as one line with the file and the line.

Columns, in any order; a heading line names them:

    string    number of the string, 1 is the highest course
    changes   what is engaged, joined by +, such as A+B; empty for none
    cents     what the meter shows, from equal temperament of the note that the string then plays
    hz        or its frequency
    beats     or beats counted against a tone
    against   the tone of that count: a note such as E4, or its hz
    ratio     what the two stand for, upper:lower; left empty for a unison
    seconds   how long you counted; left empty for one
    side      wide or narrow; at a unison wide means that the string is the higher one. Left empty when you
              could not tell

Each line gives one of cents, hz and beats. A line with none of them is a reading that is missing, and passed
over; the same reading may be there more than once. Lines that begin with # are remarks.

A count is as good as its last digit allows at that pitch: seven beats in ten seconds tell more than in two,
and at A4 more than at A2. Where no side is given, the other readings of the string decide.
"""

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from math import sqrt
from pathlib import Path
from typing import Final

from tonegen.dropfit.readings import PitchReading
from tonegen.errors import BadPreset, BadValue
from tonegen.instrument import Instrument, State
from tonegen.interval import Ratio, high_hz_from_beats
from tonegen.pitch import REFERENCE_HZ, cents_between, hz_from_key, parse_note
from tonegen.presets.files import named
from tonegen.reading import read_whole
from tonegen.words import signed, typed

COLUMNS: Final = ("string", "changes", "cents", "hz", "beats", "against", "ratio", "seconds", "side")
OF_A_COUNT: Final = ("against", "ratio", "seconds", "side")
_SIDES: Final = {"wide": 1, "narrow": -1}
VALUES: Final = ("cents", "hz", "beats")
# Nobody tunes a stop so far from its note; a reading beyond it is in another unit, or of another string.
_FURTHEST_CENTS: Final = 80.0
_LARGEST_BYTES: Final = 1_000_000


def readings(
    path: Path, instrument: Instrument, reference_hz: float = REFERENCE_HZ
) -> tuple[PitchReading, ...]:
    """All readings of a file. Raises BadPreset naming the line that makes no sense."""
    found = []
    for line, row in rows(path, _text(path)):
        with named(path, f"line {line}"):
            read = reading(row, instrument, reference_hz, f"line {line}")
        if read is not None:
            found.append(read)
    if not found:
        raise BadPreset(
            f"{path}: no readings; give a heading such as string,changes,cents and a line for each"
        )
    return tuple(found)


def _text(path: Path) -> str:
    data = read_whole(path, _LARGEST_BYTES, "larger than a megabyte; that is not a list of readings")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadPreset(f"{path}: byte {error.start} is not UTF-8; save the file as UTF-8 text") from None


def rows(path: Path, text: str) -> Iterator[tuple[int, dict[str, str]]]:
    """The lines of a list by their columns, each with its number. Raises BadPreset, which names the path."""
    numbered = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and line.lstrip()[0] != "#"
    ]
    if not numbered:
        return
    number, line = numbered[0]
    try:
        heading = [cell.strip().lower() for cell in next(csv.reader([line], strict=True))]
        _check_heading(path, number, heading)
        for number, line in numbered[1:]:
            cells = [cell.strip() for cell in next(csv.reader([line], strict=True))]
            if len(cells) > len(heading):
                raise BadPreset(
                    f"{path}: line {number}: {len(cells)} values under {len(heading)} columns; "
                    f"write decimals with a point, changes joined by +"
                )
            yield number, dict(zip(heading, cells, strict=False))
    except csv.Error as error:
        raise BadPreset(
            f"{path}: line {number}: cannot be split at its commas: {error}; check its quotation marks"
        ) from None


def _check_heading(path: Path, line: int, heading: list[str]) -> None:
    for mark, words in ((";", "semicolons"), ("\t", "tabs")):
        if any(mark in name for name in heading):
            raise BadPreset(
                f"{path}: line {line}: columns stand between {words}; save the table with commas between "
                f"columns and points in decimals"
            )
    for name in heading:
        if name not in COLUMNS:
            raise BadPreset(
                f'{path}: line {line}: there is no column "{name}"; the columns are {", ".join(COLUMNS)}'
            )
        if heading.count(name) > 1:
            raise BadPreset(f'{path}: line {line}: column "{name}" is listed twice')
    if "string" not in heading or not set(VALUES) & set(heading):
        raise BadPreset(f"{path}: line {line}: give the column string, and one of cents, hz and beats")


def reading(
    row: Mapping[str, str], instrument: Instrument, reference_hz: float, place: str
) -> PitchReading | None:
    """The reading of a line, None where it is missing. Raises BadValue for what makes no sense."""
    given = {name: row[name] for name in VALUES if row.get(name)}
    if not given:
        return None
    if len(given) > 1:
        raise BadValue(f"gives {' and '.join(given)}; give only one of them")
    number = row.get("string", "")
    if not (number.isascii() and number.isdigit() and len(number) < 3):
        raise BadValue(f'"{number}" is not the number of a string')
    string = instrument.string(int(number)).number
    if "," in row.get("changes", ""):
        raise BadValue(f'changes are joined by +, such as A+B, not "{row["changes"]}"')
    changes = tuple(name.strip() for name in row.get("changes", "").split("+") if name.strip())
    state = instrument.state(changes)
    ((unit, text),) = given.items()
    value, step = _number(text, unit), _last_digit(text)
    nominal = float(hz_from_key(instrument.key(instrument.point(string, state)), 0.0, reference_hz))
    if unit == "cents":
        _check_near(value, text, unit, instrument, string, state, nominal)
        return PitchReading(string, state.changes, value, place, step_cents=step)
    if unit == "hz":
        cents = _cents(value, text, unit, nominal)
        _check_near(cents, text, unit, instrument, string, state, nominal)
        return PitchReading(
            string, state.changes, cents, place, step_cents=float(cents_between(value, value + step))
        )
    count = _Count.of(value, step, row, nominal, reference_hz)
    near: list[float] = []
    faults: list[BadValue] = []
    for signed_rate in count.signed_rates:
        try:
            cents = _cents(count.hz(signed_rate), text, unit, nominal)
            _check_near(cents, text, unit, instrument, string, state, nominal)
        except BadValue as error:
            faults.append(error)
        else:
            near.append(cents)
    if not near:
        raise faults[0]
    return PitchReading(
        string,
        state.changes,
        near[0],
        place,
        error_cents=count.error_cents(nominal),
        other_cents=near[1] if len(near) > 1 else None,
    )


def _cents(hz: float, text: str, unit: str, nominal: float) -> float:
    if hz <= 0:
        raise BadValue(f"{unit}: {text} is not above zero")
    return float(cents_between(nominal, hz))


def _check_near(
    cents: float, text: str, unit: str, instrument: Instrument, string: int, state: State, nominal: float
) -> None:
    if not abs(cents) <= _FURTHEST_CENTS:
        note = instrument.note(instrument.point(string, state))
        raise BadValue(
            f"{unit}: {text} would be {signed(cents, 0)} cents from {note} ({nominal:.2f} Hz); "
            f"check the unit, the string and the changes"
        )


@dataclass(frozen=True, slots=True)
class _Count:
    """Beats of a string against a tone. signed_rates : what they may be in a second, wide positive."""

    signed_rates: tuple[float, ...]
    error_beats_per_second: float
    tone_hz: float
    ratio: Ratio
    string_is_upper: bool

    @classmethod
    def of(
        cls, beats: float, step: float, row: Mapping[str, str], nominal: float, reference_hz: float
    ) -> "_Count":
        """The count of a line. Raises BadValue for what makes no sense."""
        if beats < 0:
            raise BadValue(
                f"beats: {row['beats']} is below zero; count from 0 up, and give wide or narrow as side"
            )
        seconds = _number(row["seconds"], "seconds") if row.get("seconds") else 1.0
        if not seconds > 0:
            raise BadValue(
                f"seconds: {row['seconds']} is not a time to count over; give it above zero, such as 10"
            )
        side = row.get("side", "").lower()
        if side and side not in _SIDES:
            raise BadValue(
                f'side: "{row["side"]}" is neither wide nor narrow; leave it empty if you could not tell'
            )
        against = row.get("against", "")
        if not against:
            raise BadValue(
                "beats: name the tone in the column against, a note such as E4 or its frequency in Hz"
            )
        try:
            tone = float(against)
        except ValueError:
            tone = float(hz_from_key(parse_note(against), 0.0, reference_hz))
        ratio = Ratio.parse(row["ratio"]) if row.get("ratio") else Ratio(1, 1)
        rate = beats / seconds
        if side:
            rates: tuple[float, ...] = (_SIDES[side] * rate,)
        else:
            rates = (rate, -rate) if rate else (0.0,)
        return cls(
            rates,
            # Counting starts and ends somewhere within a step: the spread of a difference of two even ones.
            step / seconds / sqrt(6),
            tone,
            ratio,
            ratio == Ratio(1, 1) or nominal > tone,
        )

    def hz(self, signed_rate: float) -> float:
        """What the string sounds when the beat has this rate; it is the upper or the lower of the two."""
        if self.string_is_upper:
            return float(high_hz_from_beats(signed_rate, self.tone_hz, self.ratio))
        # beats = lower * tone - upper * string
        return (self.ratio.lower * self.tone_hz - signed_rate) / self.ratio.upper

    def error_cents(self, nominal: float) -> float:
        """How well the count tells the string, at its pitch: what its error is of the partial that beats."""
        partial = self.ratio.lower if self.string_is_upper else self.ratio.upper
        return float(cents_between(nominal, nominal + self.error_beats_per_second / partial))


def _last_digit(text: str) -> float:
    """What one is worth in the last digit that was written: 0.01 of "3.25"."""
    exponent = Decimal(typed(text)).as_tuple().exponent
    return float(Decimal(1).scaleb(exponent)) if isinstance(exponent, int) else 0.0


def _number(text: str, unit: str) -> float:
    try:
        value = float(typed(text))
    except ValueError:
        raise BadValue(f'{unit}: "{text}" is not a number; write it such as -2.5') from None
    if not abs(value) < 1e6:
        raise BadValue(f"{unit}: {text} is not a finite number")
    return value
