"""What to practise next, and practice itself: easy to hard, one interval at a time, some eight minutes.

Practice is not measuring: it begins where an error is easy to hear, stays below where beats are rough, and
asks one interval twelve times before the next. Sources, from memory: short sessions teach as much as long
ones (Molloy and others 2012), one task at a time more than tasks mixed (Banai and others 2010), and from easy
to hard more than hard from the beginning (Wisniewski and others 2017). What is learned is heard again after a
day, then after two, four, eight days and so on; what was forgotten begins again (common practice, no source).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import product
from typing import Final

from tonegen.ear.planning import Wish, parse_register, plan_of
from tonegen.ear.progress import Line, line_of, local_day, threshold_of
from tonegen.ear.rows import Row
from tonegen.ear.session import BLOCK_TRIALS, MOST_CENTS, Method, SessionPlan
from tonegen.ear.trials import WITH_THRESHOLD, TrialKind, chord_name, parse_chords

PRACTICE_SECONDS: Final = 8 * 60.0
# Common practice, no source: to decide, and to hear the sounds again.
_ANSWERING_SECONDS: Final = 8.0
_LONGEST_GAP_DAYS: Final = 32
_DAYS_LOOKED_AT: Final = 7  # so many days in a row that held make the longest gap
# Two days of one ear may differ by chance, but hardly by so much.
_FORGOTTEN: Final = 1.5
# A block begins so many times above what was heard the last time.
_EASY: Final = 4.0
# From the plainest to the subtlest, and from the middle to the edges. Common practice, no source.
_INTERVALS: Final = ("3:2", "5:4", "4:3", "6:5", "5:3", "8:5", "7:4")
_REGISTERS: Final = ("E3,E4", "E2,E3", "A3,A4")


class Why(StrEnum):
    """Why something is to be practised."""

    FORGOTTEN = "forgotten"
    DUE = "due"
    NEW = "new"
    DULL = "dull"


@dataclass(frozen=True, slots=True)
class NextPractice:
    """What to practise, as it is asked for, and why.

    days : since it was heard last, None for what is new
    cents : what was heard then, None for too few answers
    """

    interval: str
    register: str
    why: Why
    days: int | None = None
    cents: float | None = None


@dataclass(frozen=True, slots=True)
class _Known:
    """What is known of a line: how long ago it was heard, and on how many days in a row it held."""

    days: int
    held: int
    cents: float | None
    forgotten: bool


def next_up(rows: Iterable[Row], today: date) -> tuple[NextPractice, ...]:
    """What to practise, most urgent first.

    First what was forgotten, then what is due, longest overdue first, then the next new interval; after those
    what is heard worst. Nothing is due on the day on which it was heard.
    """
    known = _known(rows, today)
    found: dict[Why, list[tuple[float, NextPractice]]] = {why: [] for why in Why}
    for place, (register, interval) in enumerate(product(_REGISTERS, _INTERVALS)):
        one = known.get(_line(interval, register))
        if one is None:
            found[Why.NEW].append((place, NextPractice(interval, register, Why.NEW)))
            continue
        gap = min(2 ** (one.held - 1), _LONGEST_GAP_DAYS)
        if one.forgotten and one.days:
            why, urgency = Why.FORGOTTEN, -one.days / gap
        elif one.days >= gap:
            why, urgency = Why.DUE, -one.days / gap
        else:
            why, urgency = Why.DULL, -(one.cents or MOST_CENTS)
        found[why].append((urgency, NextPractice(interval, register, why, one.days, one.cents)))
    ordered = {why: [one for _, one in sorted(ones, key=lambda each: each[0])] for why, ones in found.items()}
    new = ordered[Why.NEW]
    return (*ordered[Why.FORGOTTEN], *ordered[Why.DUE], *new[:1], *ordered[Why.DULL], *new[1:])


def practice_plan(interval: str, register: str, rows: Iterable[Row], seed: int) -> SessionPlan:
    """Some eight minutes of intervals in a register, in whole blocks; each from easy to hard.

    interval, register : as they are typed, 5:4,3:2 and E3,E4. Raises BadValue for others.

    >>> plan = practice_plan("5:4", "E3,E4", (), seed=1)
    >>> plan.trials, plan.method.value, plan.levels_cents
    (36, 'blocks', (64.0,))
    """
    chords = parse_chords(interval)
    lines = {Line(chord_name(chord), _line(interval, register).register) for chord in chords}
    heard = _last_cents([row for row in rows if _counts(row) and line_of(row) in lines])
    easy = MOST_CENTS if heard is None else min(_EASY * heard, MOST_CENTS)
    wish = Wish(
        TrialKind.PURER,
        chords,
        parse_register(register),
        method=Method.BLOCKS,
        levels_cents=(easy,),
    )
    plan = plan_of(wish, seed)
    trial_seconds = 2 * sum(plan.task.seconds) / 2 + _ANSWERING_SECONDS
    blocks = max(round(PRACTICE_SECONDS / trial_seconds / BLOCK_TRIALS), 1)
    return SessionPlan(plan.task, plan.method, blocks * BLOCK_TRIALS, seed, plan.levels_cents)


def _line(interval: str, register: str) -> Line:
    (chord, *_) = parse_chords(interval)
    low, _, high = register.partition(",")
    return Line(chord_name(chord), f"{low} to {high}")


def _counts(row: Row) -> bool:
    return row.by_ear is not False and TrialKind(row.kind) in WITH_THRESHOLD


def _known(rows: Iterable[Row], today: date) -> Mapping[Line, _Known]:
    of_line: dict[Line, dict[date, list[Row]]] = {}
    for row in rows:
        if _counts(row):
            of_line.setdefault(line_of(row), {}).setdefault(local_day(row), []).append(row)
    return {line: _known_of(days, today) for line, days in of_line.items()}


def _known_of(days: Mapping[date, Sequence[Row]], today: date) -> _Known:
    cents = [_threshold(days[day]) for day in sorted(days)[-_DAYS_LOOKED_AT:]]
    held, forgotten = 0, False
    for before, now in zip([None, *cents], cents, strict=False):
        forgotten = before is not None and now is not None and now > _FORGOTTEN * before
        held = 1 if forgotten else held + 1
    return _Known((today - max(days)).days, held, cents[-1], forgotten)


def _last_cents(rows: Sequence[Row]) -> float | None:
    if not rows:
        return None
    last = max(map(local_day, rows))
    return _threshold([row for row in rows if local_day(row) == last])


def _threshold(rows: Sequence[Row]) -> float | None:
    found = threshold_of(rows)
    return found.value if found else None
