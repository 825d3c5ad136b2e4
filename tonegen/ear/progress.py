"""What the history says: what an ear can do, day by day, interval by interval, register by register.

Only what was answered by ear counts: what was read off drawn beats says nothing of an ear; nor does practice,
which goes from easy to hard and one interval at a time, measure what an ear hears unprepared. A register is
the one that was asked for, as the plan has it: answers to one plan stay together wherever their tones fell.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import msgspec

from tonegen.ear.abx import proportion_right
from tonegen.ear.adjustment import Settings, settings
from tonegen.ear.bayes import Belief, usual_listeners
from tonegen.ear.estimate import Estimate
from tonegen.ear.psychometric import FEWEST_ANSWERS, Answers
from tonegen.ear.rows import Row
from tonegen.ear.trials import WITH_THRESHOLD, TrialKind
from tonegen.errors import BadValue
from tonegen.pitch import nearest_key, note_name


@dataclass(frozen=True, slots=True)
class Day:
    """One day's answers to one kind of trial, on one interval, in one register.

    threshold : cents that are heard four times in five, for kinds that have one, from answers at several
    levels. level_cents, proportion : where all answers are at one level, that and how many were right; of
    names, how many were right. settings : of numbers, in cents or percent. What a kind does not tell, or too
    few trials, is None.
    """

    day: date
    kind: TrialKind
    interval: str
    register: str
    trials: int
    threshold: Estimate | None = None
    level_cents: float | None = None
    settings: Settings | None = None
    proportion: Estimate | None = None


@dataclass(frozen=True, slots=True)
class Point:
    """A day's value with its range."""

    day: date
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, order=True)
class Line:
    """What is followed by itself: an interval in a register."""

    interval: str
    register: str


class _Asked(msgspec.Struct):
    """Of a trial that is kept, the register that was asked for."""

    low_hz: tuple[float, float]


class _Kept(msgspec.Struct):
    """Of a trial that is kept, what was asked."""

    task: _Asked


_KEPT = msgspec.json.Decoder(_Kept)


def line_of(row: Row) -> Line:
    """What an answer belongs to; the octave of its lowest tone where the trial cannot be read.

    A side told of a sound that ended, before it could be nudged, was another task: a line by itself.
    """
    try:
        low_hz, high_hz = _KEPT.decode(row.trial).task.low_hz
        register = f"{_note(low_hz)} to {_note(high_hz)}"
    except (msgspec.MsgspecError, BadValue, ValueError):
        register = octave_of(row.low_hz)
    ended = row.kind == TrialKind.SIDE and row.sound_seconds is not None
    return Line(row.interval, f"{register}, not nudged" if ended else register)


def local_day(row: Row) -> date:
    """The day of an answer by the clock on the wall where it was given."""
    return datetime.fromisoformat(row.answered).date()


def heard(rows: Iterable[Row]) -> tuple[Row, ...]:
    """The answers that measure: given by ear, or before that was noted, and not in practice."""
    return tuple(row for row in rows if row.by_ear is not False and not row.practice)


def threshold_of(rows: Sequence[Row]) -> Estimate | None:
    """What was heard in answers of one kind that has a threshold; None for too few."""
    if len(rows) < FEWEST_ANSWERS:
        return None
    listeners = usual_listeners(WITH_THRESHOLD[TrialKind(rows[0].kind)])
    answers = Answers.of_trials([row.level_cents for row in rows], [row.right is True for row in rows])
    return Belief(listeners).after_all(answers).threshold()


def _note(hz: float) -> str:
    return note_name(int(nearest_key(hz)[0]))


def octave_of(low_hz: float) -> str:
    """The octave in which a tone lies, at A4 = 440 Hz.

    >>> octave_of(220.0), octave_of(262.0)
    ('C3 to B3', 'C4 to B4')
    """
    octave = int(nearest_key(low_hz)[0]) // 12 - 1
    return f"C{octave} to B{octave}"


def by_day(rows: Iterable[Row]) -> tuple[Day, ...]:
    """The heard answers gathered, by day first; days are those of the clock on the wall."""
    gathered: dict[tuple[date, TrialKind, Line], list[Row]] = {}
    for row in heard(rows):
        gathered.setdefault((local_day(row), TrialKind(row.kind), line_of(row)), []).append(row)
    return tuple(
        _day(day, kind, line.interval, line.register, gathered[day, kind, line])
        for day, kind, line in sorted(gathered)
    )


def _day(day: date, kind: TrialKind, interval: str, register: str, rows: list[Row]) -> Day:
    count = len(rows)
    errors = [row.error for row in rows if row.error is not None]
    if errors:
        found = settings(errors) if len(errors) > 1 else None
        return Day(day, kind, interval, register, count, settings=found)
    proportion = proportion_right(sum(row.right is True for row in rows), count)
    guess, levels = WITH_THRESHOLD.get(kind), {row.level_cents for row in rows}
    if guess is None:
        return Day(day, kind, interval, register, count, proportion=proportion)
    if count < FEWEST_ANSWERS:
        return Day(day, kind, interval, register, count)
    if len(levels) == 1:
        return Day(day, kind, interval, register, count, level_cents=levels.pop(), proportion=proportion)
    return Day(day, kind, interval, register, count, threshold=threshold_of(rows))
