"""Answers and results in the words of the trade, for a terminal and for the page."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from tonegen.ear.history import LessonKept, Waiting
from tonegen.ear.practice import NextPractice, Why
from tonegen.ear.psychometric import HEARD
from tonegen.ear.rows import Row
from tonegen.ear.session import MOST_CENTS, Answered, Result
from tonegen.ear.trend import ALL_TOGETHER, Trend
from tonegen.ear.trials import HELD, Task, TrialKind, TrialSound, chord_name, half_a_beat_cents, parse_chords
from tonegen.interval import Audible, Direction, audible
from tonegen.words import side, signed

_LIKELY: Final = 0.9
SHORT: Final[Mapping[TrialKind, str]] = {
    TrialKind.PURER: "which is purer", TrialKind.SIDE: "wide, pure or narrow", TrialKind.SET: "set it pure",
    TrialKind.RATE: "tap the beat", TrialKind.MATCH: "match the beat", TrialKind.NAME: "name it",
    TrialKind.ABX: "blind test", TrialKind.OWN: "your own grip, or off",
}  # fmt: skip


def waiting_in_words(waiting: Waiting) -> str:
    """What it asks, how far it is, on what, and since when."""
    plan = waiting.plan
    chords = ", ".join(map(chord_name, plan.task.chords))
    begun = waiting.begun[:16].replace("T", " ")
    return f"{SHORT[plan.task.kind]}, {waiting.answered} of {plan.trials} answered; {chords}; begun {begun}"


def length_in_words(task: Task) -> str:
    """How long the sounds of a task are, and which errors that is too short for; "" where that is no matter.

    >>> length_in_words(Task(TrialKind.PURER))
    'Each sounds for about 2 s: half a beat takes 0.5 cents on a major third, 0.9 on a fifth, from 165 Hz.'
    """
    if task.kind in HELD or task.kind is TrialKind.NAME:
        return ""
    seconds, low_hz = sum(task.seconds) / 2, task.low_hz[0]
    needs = {
        ratio.name or str(ratio): half_a_beat_cents(seconds, low_hz, ratio)
        for chord in task.chords
        for ratio in chord[1:]
    }
    said = ", ".join(
        f"{cents:.1f}{' cents' if number == 0 else ''} on a {name}"
        for number, (name, cents) in enumerate(needs.items())
    )
    return f"Each sounds for about {seconds:g} s: half a beat takes {said}, from {low_hz:.0f} Hz."


def reply_in_words(kept: LessonKept) -> str:
    """How far somebody came in a lesson, and when."""
    return f"{kept.right} of {kept.answered} answered right, last on {kept.last[:10]}"


def practice_in_words(one: NextPractice) -> str:
    """What to practise, and why.

    >>> practice_in_words(NextPractice("5:4", "E3,E4", Why.DUE, 9, 3.2))
    'major third, E3 to E4: you heard 3.2 cents 9 days ago; time to hear it again'
    """
    (chord,) = parse_chords(one.interval)
    what = f"{chord_name(chord)}, {one.register.replace(',', ' to ')}"
    when = {None: "", 0: "today", 1: "yesterday"}.get(one.days, f"{one.days} days ago")
    heard = f"you heard {_cents(one.cents)} cents {when}" if one.cents else f"heard {when}"
    match one.why:
        case Why.NEW:
            return f"{what}: new"
        case Why.FORGOTTEN:
            return f"{what}: {heard}, less than the time before; hear it again"
        case Why.DUE:
            return f"{what}: {heard}; time to hear it again"
        case Why.DULL:
            return f"{what}: {heard}; it can become finer"


def by_eye_in_words(rows: Iterable[Row]) -> str:
    """How many answers do not count, since nothing sounded; "" for none."""
    count = sum(row.by_ear is False for row in rows)
    answers = "answer was" if count == 1 else "answers were"
    return f"{count} {answers} given by eye, without sound; they do not count here." if count else ""


def trend_in_words(trend: Trend) -> str:
    """How a threshold went over the days, and whether that is more than chance."""
    what = trend.interval.capitalize()
    if trend.interval != ALL_TOGETHER:
        what = f"{what}, {trend.register}"
    said = f"{what} ({SHORT[trend.kind]}), over {trend.days} {'day' if trend.days == 1 else 'days'}: "
    if trend.band:
        said += f"from {_cents(trend.band[0].value)} to {_cents(trend.band[-1].value)} cents, "
    value, low, high = (_finer(one) for one in (trend.change.value, trend.change.low, trend.change.high))
    said += f"{value} (95 %: {low} to {high}). "
    if trend.finer:
        return said + "That is progress: chance alone would hardly do it."
    if trend.coarser:
        return said + "That is more than chance: tired ears, another room, or a harder task?"
    if trend.likely > _LIKELY:
        return said + f"That is progress in {100 * trend.likely:.0f} of 100 such cases; more days will tell."
    return said + "That may be chance; more days will tell."


def _cents(cents: float) -> str:
    return f"over {MOST_CENTS:g}" if cents > MOST_CENTS else f"{cents:.1f}"


def _finer(factor: float) -> str:
    """How much finer an ear is whose threshold is that many times what it was.

    >>> _finer(0.5), _finer(1.25), _finer(1.0)
    ('50 % finer', '25 % coarser', 'the same')
    """
    percent = round(100 * (factor - 1))
    return "the same" if percent == 0 else f"{abs(percent)} % {'finer' if percent < 0 else 'coarser'}"


def describe(answered: Answered) -> str:
    """What it was, and how near the answer came."""
    trial, judged = answered.trial, answered.judged
    name = chord_name(trial.chord)

    def how_off(sound: TrialSound) -> str:
        words = error_in_words(sound, trial.task.names)
        return f"off: {words}" if words != "pure" and _place(sound, trial.task.names) else words

    match trial.task.kind:
        case TrialKind.SET:
            sound = trial.sounds[0].with_error(answered.answer)
            as_set = error_in_words(sound, trial.task.names)
            return (
                f"The {name} as you set it: {as_set}."
                if _place(sound, trial.task.names)
                else (f"You set the {name} {as_set}.")
            )
        case TrialKind.RATE | TrialKind.MATCH:
            off = "" if judged.error is None else f" ({signed(judged.error, 1)} %)"
            return f"It beat {trial.right:.2f} times a second; your answer: {answered.answer:.2f}{off}."
    verdict = "Right" if judged.right else f"No, it was {trial.choices[int(trial.right)]}"
    if trial.task.kind is TrialKind.PURER:
        return f"{verdict}. The other {name} was {how_off(trial.sounds[1 - int(trial.right)])}."
    if trial.task.kind is TrialKind.OWN:
        return f"{verdict}. Off was {error_in_words(trial.sounds[int(trial.right)], trial.task.names)}."
    if trial.task.kind is TrialKind.ABX:
        out = next(sound for sound in trial.sounds if sound.error_cents)
        return f"{verdict}. One of A and B was pure, the other {how_off(out)}."
    return f"{verdict}. It was {how_off(trial.sounds[0])}."


def error_in_words(sound: TrialSound, names: Sequence[str] = ()) -> str:
    """How far off it is, where in a chord, and how fast it beats: "string 5, 6.0 cents narrow, ...".

    names : what its tones are called, where they have names
    """
    place = _place(sound, names)
    if sound.tempered_cents:  # it beats as the player has it; what counts is what it is off that
        way = "sharp" if sound.error_cents > 0 else "flat"
        return f"{place}, {abs(sound.error_cents):.1f} cents {way}" if sound.error_cents else "as you tune it"
    if side(sound.rate) == Direction.PURE:
        return "pure"
    away = f"{place}{', ' if place else ''}{abs(sound.error_cents):.1f} cents {side(sound.rate)}"
    if audible(sound.rate) == Audible.ROUGHNESS:
        return f"{away}, rough"
    return f"{away}, beating {abs(sound.rate):.1f} times a second"


def _place(sound: TrialSound, names: Sequence[str]) -> str:
    """Which tone is off: by its name, or its interval with the lowest of a chord; "" where that is plain."""
    if names:
        return names[sound.moved]
    interval = sound.chord[sound.moved]
    return (interval.name or str(interval)) if len(sound.chord) > 2 else ""


def result_in_words(result: Result, kind: TrialKind) -> tuple[str, str]:
    """What the answers to one chord say, and the range of 95 % that it lies in."""
    if result.threshold and result.heard:
        one = result.threshold
        what = "tell the side of" if kind is TrialKind.SIDE else "hear"
        often = "four times out of five" if result.heard == HEARD else f"{result.heard:.0%} of the time"
        if one.value > MOST_CENTS:
            return f"You do not {what} even {MOST_CENTS:g} cents {often}", f"above {one.low:.1f} cents"
        return f"You {what} a {one.value:.1f}-cent error {often}", f"{one.low:.1f} to {one.high:.1f} cents"
    if result.settings:
        unit = "cents" if kind is TrialKind.SET else "%"
        error, spread = result.settings.constant_error, result.settings.spread
        return (
            f"{signed(error.value, 1)} {unit} on average, spread {spread.value:.1f} {unit}",
            f"{signed(error.low, 1)} to {signed(error.high, 1)}; {spread.low:.1f} to {spread.high:.1f}",
        )
    if result.sides:
        told, of = result.sides
        said = "You hear that it beats, not on which side: nudge it, and listen"
        return said, f"{told} of {of} sides right"
    if result.reached_cents is not None:
        said = f"down to {result.reached_cents:.1f} cents, {result.right} of {result.trials} right"
        return said, "practice: no measurement"
    if result.proportion:
        one = result.proportion
        by_chance = (
            "" if result.p_of_guessing is None else f"; by guessing alone p = {result.p_of_guessing:.3g}"
        )
        level = "" if result.level_cents is None else f" at {result.level_cents:g} cents"
        return f"{result.right} right{level}{by_chance}", f"{one.low:.0%} to {one.high:.0%} right"
    return "too few to say", ""
