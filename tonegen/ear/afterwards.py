"""After an answer: its sounds once more, knowing which was which."""

from dataclasses import dataclass, replace
from typing import Final

from tonegen.ear.session import Answered
from tonegen.ear.trials import TrialKind, TrialSound, chord_name
from tonegen.ear.words import error_in_words
from tonegen.interval import Audible, audible
from tonegen.words import rate

# Of a sound that goes on while it is answered: time enough for a few beats.
_HEARD_SECONDS: Final = 4.0


@dataclass(frozen=True, slots=True)
class AnsweredSound:
    """A sound, and what it was."""

    words: str
    sound: TrialSound


def to_hear(answered: Answered) -> tuple[AnsweredSound, ...]:
    """What a listener compares once he has answered: what was asked, and what it should be or he took it for.

    >>> from tonegen.ear.session import Method, Session, SessionPlan
    >>> from tonegen.ear.trials import Task, parse_chords
    >>> session = Session(SessionPlan(Task(TrialKind.SET, parse_chords("3:2")), Method.FIXED, 1, seed=1))
    >>> [one.words for one in to_hear(session.answer(0.0))]
    ['as you set it: pure']
    """
    trial, answer = answered.trial, answered.answer
    first = trial.sounds[0]

    def said(sound: TrialSound) -> str:
        return error_in_words(sound, trial.task.names)

    match trial.task.kind:
        case TrialKind.SET:
            mine = _longer(first.with_error(answer))
            made = [AnsweredSound(f"as you set it: {said(mine)}", mine)]
            if said(mine) != "pure":
                made.append(AnsweredSound("pure", mine.with_error(0.0)))
        case TrialKind.RATE | TrialKind.MATCH:
            made = [AnsweredSound(f"{rate(first.rate)}, as it was", _longer(first))]
            if audible(answer) == Audible.BEATS:
                word = "tapped" if trial.task.kind is TrialKind.RATE else "made it"
                mine = _longer(trial.sounds[-1].with_rate(answer if first.rate > 0 else -answer))
                made.append(AnsweredSound(f"{rate(answer)}, as you {word}", mine))
        case TrialKind.ABX:
            made = [
                AnsweredSound(f"{name}: {said(sound)}", sound)
                for name, sound in zip(trial.choices, trial.sounds, strict=False)
            ]
            made.append(AnsweredSound(f"X: {trial.choices[int(trial.right)]}", trial.sounds[-1]))
        case TrialKind.NAME:
            made = [AnsweredSound(chord_name(trial.chord), first)]
            other = trial.task.chords[int(answer)]
            if other != trial.chord and len(other) == len(trial.chord):
                taken_for = replace(first, chord=other, error_cents=0.0)
                made.append(AnsweredSound(f"{chord_name(other)}, your answer", taken_for))
        case TrialKind.SIDE:
            made = [AnsweredSound(f"as it was: {said(first)}", first)]
            if first.error_cents:
                made.append(AnsweredSound("pure", first.with_error(0.0)))
        case TrialKind.PURER | TrialKind.OWN:
            made = [
                AnsweredSound(f"{choice}: {said(sound)}", sound)
                for choice, sound in zip(trial.choices, trial.sounds, strict=True)
            ]
    return tuple(made)


def _longer(sound: TrialSound) -> TrialSound:
    return replace(sound, seconds=max(sound.seconds, _HEARD_SECONDS))
