"""Answers and results in the words of the trade, for a terminal and for the page."""

from collections.abc import Mapping
from typing import Final

from tonegen.ear.history import Waiting
from tonegen.ear.psychometric import HEARD
from tonegen.ear.session import MOST_CENTS, Answered, Result
from tonegen.ear.trials import TrialKind, TrialSound, chord_name
from tonegen.interval import Direction
from tonegen.words import side, signed

SHORT: Final[Mapping[TrialKind, str]] = {
    TrialKind.PURER: "which is purer", TrialKind.SIDE: "wide, pure or narrow", TrialKind.SET: "set it pure",
    TrialKind.RATE: "tap the beat", TrialKind.MATCH: "match the beat", TrialKind.NAME: "name it",
    TrialKind.ABX: "blind test",
}  # fmt: skip


def waiting_in_words(waiting: Waiting) -> str:
    """What it asks, how far it is, on what, and since when."""
    plan = waiting.plan
    chords = ", ".join(map(chord_name, plan.task.chords))
    begun = waiting.begun[:16].replace("T", " ")
    return f"{SHORT[plan.task.kind]}, {waiting.answered} of {plan.trials} answered; {chords}; begun {begun}"


def describe(answered: Answered) -> str:
    """What it was, and how near the answer came."""
    trial, judged = answered.trial, answered.judged
    name = chord_name(trial.chord)
    match trial.task.kind:
        case TrialKind.SET:
            sound = trial.sounds[0].with_error(answered.answer)
            return f"You set the {name} {_error(sound)}."
        case TrialKind.RATE | TrialKind.MATCH:
            off = "" if judged.error is None else f" ({signed(judged.error, 1)} %)"
            return f"It beat {trial.right:.2f} times a second; your answer: {answered.answer:.2f}{off}."
    verdict = "Right" if judged.right else f"No, it was {trial.choices[int(trial.right)]}"
    if trial.task.kind is TrialKind.PURER:
        return f"{verdict}. The other {name} was {_error(trial.sounds[1 - int(trial.right)])}."
    if trial.task.kind is TrialKind.ABX:
        out = next(sound for sound in trial.sounds if sound.error_cents)
        return f"{verdict}. One of A and B was pure, the other {_error(out)}."
    return f"{verdict}. It was {_error(trial.sounds[0])}."


def _error(sound: TrialSound) -> str:
    if side(sound.rate) == Direction.PURE:
        return "pure"
    away = f"{abs(sound.error_cents):.1f} cents {side(sound.rate)}"
    return f"{away}, beating {abs(sound.rate):.1f} times a second"


def result_in_words(result: Result, kind: TrialKind) -> tuple[str, str]:
    """What the answers to one chord say, and the range of 95 % that it lies in."""
    if result.threshold and result.heard:
        one = result.threshold
        often = "four times out of five" if result.heard == HEARD else f"{result.heard:.0%} of the time"
        if one.value > MOST_CENTS:
            return f"You do not hear even {MOST_CENTS:g} cents {often}", f"above {one.low:.1f} cents"
        return f"You hear a {one.value:.1f}-cent error {often}", f"{one.low:.1f} to {one.high:.1f} cents"
    if result.settings:
        unit = "cents" if kind is TrialKind.SET else "%"
        error, spread = result.settings.constant_error, result.settings.spread
        return (
            f"{signed(error.value, 1)} {unit} on average, spread {spread.value:.1f} {unit}",
            f"{signed(error.low, 1)} to {signed(error.high, 1)}; {spread.low:.1f} to {spread.high:.1f}",
        )
    if result.proportion:
        one = result.proportion
        by_chance = (
            "" if result.p_of_guessing is None else f"; by guessing alone p = {result.p_of_guessing:.3g}"
        )
        level = "" if result.level_cents is None else f" at {result.level_cents:g} cents"
        return f"{result.right} right{level}{by_chance}", f"{one.low:.0%} to {one.high:.0%} right"
    return "too few to say", ""
