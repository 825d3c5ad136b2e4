"""Readings of a player's meter, and the cabinet drop that they tell.

Readings are part of the setting, as they were typed, and are undone with it. What they tell is fitted in a
thread whenever they change, and shown when it is done.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from dataclasses import replace as replaced
from pathlib import Path
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from tonegen.dropfit.fit import DropFit, FittedCombination, ReadAgain, fit_drop
from tonegen.dropfit.plan import NextReading
from tonegen.dropfit.readings import METER_CENTS, PitchReading
from tonegen.errors import BadPreset, BadValue, TonegenError
from tonegen.page.newest import Newest
from tonegen.page.setting import MeterReading, Setting
from tonegen.presets.files import named
from tonegen.presets.own import save_fitted_drop
from tonegen.presets.readings import OF_A_COUNT, VALUES, reading, rows
from tonegen.setup.rig import Rig
from tonegen.words import signed

_MOST_READINGS: Final = 1000
_LIST: Final = Path("the list")  # how a list that was pasted is called in messages
_UNITS: Final = {"cents": "cents", "hz": "Hz"}


class ReadingView(Struct, frozen=True):
    """A reading: where it was taken, as it was typed, in cents; `doubt` when it does not fit the others."""

    where: str
    read: str
    cents: str
    doubt: str


class DropView(Struct, frozen=True):
    """Drop of a string for a change, and its standard error; `doubt` when it is not saved."""

    string: int
    change: str
    cents: str
    give_or_take: str
    doubt: str = ""


class TogetherView(Struct, frozen=True):
    """Drop of a string for changes engaged together, where it is not the sum, which is shown as well."""

    string: int
    changes: tuple[str, ...]
    cents: str
    give_or_take: str
    sum: str


class NextView(Struct, frozen=True):
    """A reading that would help; `again` when one that is there is in doubt."""

    string: int
    changes: tuple[str, ...]
    where: str
    why: str
    again: bool = False


class Readings(Struct, tag="readings", frozen=True):
    """All readings and what they tell; `words` say why nothing can be told yet."""

    readings: tuple[ReadingView, ...]
    drops: tuple[DropView, ...] = ()
    together: tuple[TogetherView, ...] = ()
    undecided: tuple[str, ...] = ()
    next: tuple[NextView, ...] = ()
    scatter: str = ""
    words: str = ""
    meter_cents: float = METER_CENTS


@dataclass(frozen=True, slots=True)
class _ToldDrop:
    """What was read on a rig, and what came of it: a fit, or the fault of a reading."""

    rig: Rig
    typed: tuple[MeterReading, ...]
    meter_cents: float
    fit: DropFit | None = None
    fault: str = ""

    def is_of(self, setting: Setting, rig: Rig) -> bool:
        """Whether it holds for the readings of this setting, on this rig."""
        same = self.rig.instrument == rig.instrument and self.rig.reference_hz == rig.reference_hz
        return same and self.typed == setting.readings and self.meter_cents == setting.meter_cents


class MeterFit:
    """What the readings of the present setting tell. show : takes the view whenever it is another one."""

    def __init__(self, show: Callable[[Readings], None]) -> None:
        """Nothing is read."""
        self._asked: _ToldDrop | None = None
        self._told: Newest[_ToldDrop, _ToldDrop] = Newest(_tell, lambda told: show(_view(told)))

    def follow(self, setting: Setting, rig: Rig) -> None:
        """Take over a setting; readings that are others, or mean something else now, are fitted again."""
        if self._asked is None or not self._asked.is_of(setting, rig):
            self._asked = _ToldDrop(rig, setting.readings, setting.meter_cents)
            self._told.want(self._asked)

    def view(self) -> Readings:
        """What pages show."""
        return Readings(()) if self._told.found is None else _view(self._told.found)

    def keep(self, name: str) -> tuple[FittedCombination, ...]:
        """Save the drop as the player's own profile; the combinations of it that the readings took back.

        Raises BadValue when the readings tell none, or for a name that cannot be used; CannotWrite.
        """
        if self._told.busy:
            raise BadValue("the readings are still being worked out; save them in a moment")
        told = self._told.found
        if told is None or told.fit is None or not told.fit.drops:
            raise BadValue("no drop can be worked out from the readings yet; there is nothing to save")
        return save_fitted_drop(told.fit, name)[1]


def with_reading(setting: Setting, rig: Rig, read: MeterReading) -> Setting:
    """The setting with a reading more. Raises BadValue for one that makes no sense."""
    _read(read, rig)
    return _with(setting, [read])


def with_list(setting: Setting, rig: Rig, text: str) -> Setting:
    """The setting with every reading of a list more. Raises BadPreset naming the line that is wrong."""
    found = []
    for line, row in rows(_LIST, text):
        with named(_LIST, f"line {line}"):
            read = reading(row, rig.instrument, rig.reference_hz, "")
        if read is not None:
            unit = next(unit for unit in VALUES if row.get(unit))
            found.append(
                MeterReading(
                    read.string,
                    read.changes,
                    unit,
                    row[unit],
                    **{name: row.get(name, "") for name in OF_A_COUNT},
                )
            )
    if not found:
        raise BadPreset(f"{_LIST}: no readings; begin with a heading such as string,changes,cents")
    return _with(setting, found)


def without(setting: Setting, at: int | None) -> tuple[Setting, str]:
    """The setting without a reading, or without any, in words. Raises BadValue when it is not there."""
    if at is None:
        return replace(setting, readings=()), "all readings removed"
    if at >= len(setting.readings):
        raise BadValue("that reading has already been removed")
    left = (*setting.readings[:at], *setting.readings[at + 1 :])
    gone = setting.readings[at]
    return replace(setting, readings=left), f"reading of {_where(gone.string, gone.changes)} removed"


def in_words(read: MeterReading) -> str:
    """A reading as it was typed, such as "string 8 with A: 0.8 cents"."""
    return f"{_where(read.string, read.changes)}: {_as_typed(read)}"


def _with(setting: Setting, more: Iterable[MeterReading]) -> Setting:
    readings = (*setting.readings, *more)
    if len(readings) > _MOST_READINGS:
        raise BadValue(f"more than {_MOST_READINGS} readings; remove some first")
    return replace(setting, readings=readings)


def _read(typed: MeterReading, rig: Rig, at: int = 0) -> PitchReading:
    read = reading(_row(typed), rig.instrument, rig.reference_hz, str(at))
    if read is None:
        raise BadValue("type what the meter shows")
    return read


def _row(read: MeterReading) -> dict[str, str]:
    """The reading as a line of a list has it."""
    return {
        "string": str(read.string),
        "changes": "+".join(read.changes),
        read.unit: read.value.strip(),
        **{name: str(getattr(read, name)).strip() for name in OF_A_COUNT},
    }


def _tell(wanted: _ToldDrop) -> _ToldDrop:
    """Fit the readings; runs in a thread."""
    rig, typed = wanted.rig, wanted.typed
    if not typed:
        return wanted
    try:
        readings = tuple(_read(one, rig, at) for at, one in enumerate(typed))
        fit = fit_drop(rig.instrument, readings, wanted.meter_cents)
        return replaced(wanted, fit=fit)
    except TonegenError as error:
        return replaced(wanted, fault=str(error))


def _view(told: _ToldDrop) -> Readings:
    fit = told.fit
    if fit is None:
        listed = tuple(_listed(one) for one in told.typed)
        return Readings(listed, words=told.fault, meter_cents=told.meter_cents)
    doubts = {slip.reading.place: f"{'does not fit: ' * slip.refused}{slip.verdict}" for slip in fit.outliers}
    read_points = {each.point.string for each in fit.points}
    words = "" if fit.drops else (
        "No drop can be worked out yet. Read the same string open, "
        "then with a pedal or lever that doesn't move it."
    )  # fmt: skip
    return Readings(
        tuple(
            _listed(one, signed(read.cents), doubts.get(read.place, ""))
            for one, read in zip(told.typed, fit.readings, strict=True)
        ),
        tuple(
            DropView(
                each.string,
                each.change,
                signed(each.cents),
                f"{each.standard_error_cents:.2f}",
                "strings sag; not saved until it is read again" if each.rises else "",
            )
            for each in fit.drops
        ),
        tuple(
            TogetherView(
                each.string,
                each.changes,
                signed(each.cents),
                f"{each.standard_error_cents:.2f}",
                signed(each.sum_cents),
            )
            for each in fit.combinations
        ),
        tuple(f"string {string} with {change}" for string, change in fit.undecided),
        (
            *(_again(each) for each in fit.read_again),
            *(_next(each, each.string in read_points) for each in fit.next_readings),
        ),
        "; ".join(f"string {each.string} {each.cents:.2f}" for each in fit.scatters if each.spare),
        words,
        told.meter_cents,
    )


def _listed(typed: MeterReading, cents: str = "", doubt: str = "") -> ReadingView:
    return ReadingView(_where(typed.string, typed.changes), _as_typed(typed), cents, doubt)


def _again(each: ReadAgain) -> NextView:
    where = _where(each.string, each.changes)
    return NextView(each.string, each.changes, where, f"read this again: {each.doubt}", again=True)


def _next(each: NextReading, is_read: bool) -> NextView:
    why = f"narrows its error by {each.gain_cents:.2f} cents" if is_read else "not read yet"
    return NextView(each.string, each.changes, _where(each.string, each.changes), why)


def _where(string: int, changes: Iterable[str]) -> str:
    return f"string {string} {f'with {engaged}' if (engaged := '+'.join(changes)) else 'open'}"


def _as_typed(read: MeterReading) -> str:
    if read.unit != "beats":
        return f"{read.value} {_UNITS.get(read.unit, read.unit)}"
    period = "a second" if read.seconds.strip() in ("", "1") else f"in {read.seconds.strip()} s"
    against = f"against {read.against} {read.ratio}".rstrip()
    return " ".join(part for part in (read.value, "beats", period, read.side, against) if part)
