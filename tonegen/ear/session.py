"""A session: a row of trials by one method, that can be stopped after any answer and taken up again.

Everything that comes next follows from the plan and the answers so far, so that a session that is read back
goes on with the very trial that would have come.
"""

from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass, replace
from enum import StrEnum
from random import Random
from typing import Final

import numpy as np

from tonegen.ear.abx import p_of_guessing, proportion_right
from tonegen.ear.adjustment import Settings, settings
from tonegen.ear.bayes import Belief, usual_listeners
from tonegen.ear.estimate import Estimate
from tonegen.ear.psychometric import FEWEST_ANSWERS, HEARD, Answers, Weibull, fit, threshold
from tonegen.ear.staircase import Staircase
from tonegen.ear.trials import (
    WITH_THRESHOLD,
    Chord,
    Judged,
    Task,
    Trial,
    TrialKind,
    judge,
    make_trial,
    rough_cents,
    seed_of,
)
from tonegen.errors import BadValue
from tonegen.interval import Direction

MOST_TRIALS: Final = 1000
LEAST_CENTS, MOST_CENTS = 0.1, 64.0  # of the errors that are asked about
# Of one interval in a row: enough to come down from easy to hard once.
BLOCK_TRIALS: Final = 12
# How seldom guessing alone tells so many sides right, where they are taken for told by ear.
_MORE_THAN_CHANCE: Final = 0.1


class Method(StrEnum):
    """How the level of the next trial is chosen."""

    TWO_DOWN = "two-down"
    THREE_DOWN = "three-down"
    BAYES = "bayes"
    FIXED = "fixed"
    BLOCKS = "blocks"  # for practice: from easy to hard, one interval at a time


@dataclass(frozen=True, slots=True)
class SessionPlan:
    """What a session will ask.

    levels_cents : what `fixed` draws from, one level or more; the first is where a staircase starts, and a
    block, unless that would be rough.
    Raises BadValue for a method that does not fit the kind, or numbers out of range.
    """

    task: Task
    method: Method
    trials: int
    seed: int
    levels_cents: tuple[float, ...] = (20.0,)

    def __post_init__(self) -> None:
        """Refuse a plan that cannot be carried out."""
        if not 1 <= self.trials <= MOST_TRIALS:
            raise BadValue(f"a session of {self.trials} trials is not possible; give 1 to {MOST_TRIALS}")
        if not self.levels_cents or not all(
            LEAST_CENTS <= level <= MOST_CENTS for level in self.levels_cents
        ):
            raise BadValue(f"give one level or more, each from {LEAST_CENTS:g} to {MOST_CENTS:g} cents")
        if self.method is not Method.FIXED and self.task.kind not in WITH_THRESHOLD:
            raise BadValue(f'"{self.task.kind}" has no threshold; use the method "{Method.FIXED}"')

    @property
    def tracks(self) -> tuple[Chord, ...]:
        """The chords that are measured apart, in the order in which they take turns."""
        return self.task.chords

    def task_of(self, number: int) -> Task:
        """The task of a trial: with its own chord alone, but where the chords are what is asked."""
        if self.task.kind is TrialKind.NAME:
            return self.task
        if self.method is Method.BLOCKS:
            return replace(self.task, chords=(self.tracks[number // BLOCK_TRIALS % len(self.tracks)],))
        return replace(self.task, chords=(self.tracks[number % len(self.tracks)],))


@dataclass(frozen=True, slots=True)
class Answered:
    """A trial, what was answered, and how good that was."""

    trial: Trial
    answer: float
    judged: Judged


@dataclass(frozen=True, slots=True)
class Result:
    """What the answers to one chord say; what the kind and the method do not tell is None.

    threshold : cents that are heard, `heard` being how often: four times in five, or as often as the steps of
    a staircase make it, for further off it is less sure. function : how often each error is, the threshold
    on it. By the belief in the answers where they chose the errors, else by maximum likelihood.
    proportion, p_of_guessing : of right answers at one level, which is `level_cents`; p once all are given,
    for if you look at it on the way and stop while you are ahead, you fool yourself.
    settings : constant error and spread, in cents, or in percent of a rate.
    reached_cents : how small an error practice got to, which is no measurement.
    sides : how many sides were told right, of those answered wide or narrow, where that may be chance: then
    there is no threshold, for whoever hears only that it beats is right two times in three at any error.
    """

    chord: Chord
    trials: int
    right: int | None
    threshold: Estimate | None = None
    function: Weibull | None = None
    heard: float | None = None
    level_cents: float | None = None
    proportion: Estimate | None = None
    p_of_guessing: float | None = None
    settings: Settings | None = None
    reached_cents: float | None = None
    sides: tuple[int, int] | None = None


class Session:
    """The answers so far to a plan, and what comes next."""

    def __init__(self, plan: SessionPlan, answers: Iterable[float] = ()) -> None:
        """Take up a session after `answers`. Raises BadValue for answers that are none."""
        self.plan = plan
        self.answered: list[Answered] = []
        self._stairs: dict[Chord, Staircase] = {}
        self._beliefs: dict[Chord, Belief] = {}
        for answer in answers:
            self.answer(answer)

    @property
    def finished(self) -> bool:
        """Whether every trial of the plan is answered."""
        return len(self.answered) >= self.plan.trials

    def next_trial(self) -> Trial:
        """The trial that comes next. Raises BadValue when there is none."""
        if self.finished:
            raise BadValue("every trial of this session is answered; begin another")
        number = len(self.answered)
        seed = seed_of(self.plan.seed, number)
        task = self.plan.task_of(number)
        return make_trial(task, self._level(task.chords[0], seed), seed)

    def branch(self) -> "Session":
        """The session as it stands, to be looked into while this one goes on."""
        branch = copy(self)
        branch.answered = [*self.answered]
        branch._stairs, branch._beliefs = {**self._stairs}, {**self._beliefs}
        return branch

    def could_come(self) -> tuple[Trial, ...]:
        """The trials that can come after the answer to the next one, to be rendered while that is heard.

        Its level follows from right or wrong, or from nothing, so that there are two at most.
        Raises BadValue when every trial is answered.
        """
        trial = self.next_trial()
        answers = [trial.right]
        if self.plan.method is not Method.FIXED:
            answers.append((trial.right + 1) % len(trial.choices))
        found = []
        for answer in answers:
            branch = self.branch()
            branch.answer(answer)
            if not branch.finished:
                found.append(branch.next_trial())
        return tuple(found)

    def answer(self, answer: float) -> Answered:
        """Judge the answer to the next trial, and go on. Raises BadValue, and stays, for one that is none."""
        trial = self.next_trial()
        made = Answered(trial, float(answer), judge(trial, answer))
        self.answered.append(made)
        right, chord = made.judged.right, trial.chord
        if right is not None and trial.task.kind in WITH_THRESHOLD:
            self._stairs[chord] = self._staircase(chord).after(right)
            self._beliefs[chord] = self._belief(chord).after(trial.level_cents, right)
        return made

    def results(self, confidence: float = 0.95) -> tuple[Result, ...]:
        """What the answers say, for each chord that was asked."""
        of_chord: dict[Chord, list[Answered]] = {}
        for made in self.answered:
            of_chord.setdefault(made.trial.chord, []).append(made)
        return tuple(self._result(chord, made, confidence) for chord, made in of_chord.items())

    def _result(self, chord: Chord, answered: list[Answered], confidence: float) -> Result:
        count = len(answered)
        errors = [made.judged.error for made in answered if made.judged.error is not None]
        if errors:
            made = settings(errors, confidence=confidence) if count > 1 else None
            return Result(chord, count, None, settings=made)
        right = sum(made.judged.right is True for made in answered)
        if self.plan.method is Method.BLOCKS:
            last = [block for block, of in self._blocks() if of == chord][-1]
            return Result(chord, count, right, reached_cents=last.level)
        guess = WITH_THRESHOLD.get(self.plan.task.kind)
        if guess is None:
            return Result(
                chord, count, right, proportion=proportion_right(right, count, confidence=confidence)
            )
        if self.plan.method is Method.FIXED and len(self.plan.levels_cents) == 1:
            return Result(
                chord,
                count,
                right,
                level_cents=self.plan.levels_cents[0],
                proportion=proportion_right(right, count, confidence=confidence),
                p_of_guessing=p_of_guessing(right, count) if guess == 1 / 2 and self.finished else None,
            )
        if count < FEWEST_ANSWERS:
            return Result(chord, count, right)
        if self.plan.task.kind is TrialKind.SIDE and (sides := _sides_by_chance(answered)):
            return Result(chord, count, right, sides=sides)
        if self.plan.method is not Method.FIXED:
            # What a staircase settles at has the listener's slips in it.
            slips = self.plan.method is not Method.BAYES
            heard = self._staircase(chord).target if slips else HEARD
            belief = self._belief(chord)
            found = belief.threshold(probability=heard, confidence=confidence, slips=slips)
            function = belief.middle(probability=heard, slips=slips)
            return Result(chord, count, right, threshold=found, heard=heard, function=function)
        answers = Answers.of_trials(
            [made.trial.level_cents for made in answered], [made.judged.right is True for made in answered]
        )
        rng = np.random.default_rng(self.plan.seed)
        found = threshold(answers, rng, probability=HEARD, guess=guess, confidence=confidence)
        function = fit(answers, guess=guess)
        return Result(chord, count, right, threshold=found, heard=HEARD, function=function)

    def _level(self, chord: Chord, seed: int) -> float:
        if self.plan.method is Method.BAYES:
            return self._belief(chord).next_level()
        if self.plan.method is Method.FIXED:
            # Not the generator of the trial itself: its first number is in use there.
            levels = self.plan.levels_cents
            return levels[int(len(levels) * Random(seed + 1).random())]
        if self.plan.method is Method.BLOCKS:
            return self._blocks()[-1][0].level
        return self._staircase(chord).level

    def _blocks(self) -> list[tuple[Staircase, Chord]]:
        """The staircase of each block so far, that of the next trial last, and its chord.

        It begins where it is easy, which is below where beats are rough; of an interval that had a block
        before, at twice where that ended.
        """
        blocks: list[tuple[Staircase, Chord]] = []
        for number in range(0, len(self.answered) + 1, BLOCK_TRIALS):
            if number == self.plan.trials:
                break
            chord = self.plan.task_of(number).chords[0]
            cap = min(rough_cents(chord, self.plan.task.low_hz[1]), MOST_CENTS)
            before = [block.level for block, of in blocks if of == chord]
            start = 2 * before[-1] if before else self.plan.levels_cents[0]
            stairs = Staircase(2, min(start, cap), highest=cap)
            for made in self.answered[number : number + BLOCK_TRIALS]:
                stairs = stairs.after(made.judged.right is True)
            blocks.append((stairs, chord))
        return blocks

    def _staircase(self, chord: Chord) -> Staircase:
        down = 3 if self.plan.method is Method.THREE_DOWN else 2
        return self._stairs.get(chord) or Staircase(down, self.plan.levels_cents[0])

    def _belief(self, chord: Chord) -> Belief:
        known = self._beliefs.get(chord)
        return known or Belief(usual_listeners(WITH_THRESHOLD[self.plan.task.kind]))


def _sides_by_chance(answered: Sequence[Answered]) -> tuple[int, int] | None:
    """Sides told right and sides told, of what was not pure; None where that is more than chance."""
    told = []
    for made in answered:
        choices = made.trial.choices
        if Direction.PURE not in (choices[int(made.answer)], choices[int(made.trial.right)]):
            told.append(made.judged.right is True)
    if not told or p_of_guessing(sum(told), len(told)) <= _MORE_THAN_CHANCE:
        return None
    return sum(told), len(told)
