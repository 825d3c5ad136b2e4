"""A class under way: who is there, what is asked or taught, what each answered. Nothing of it is kept."""

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from msgspec import Struct

from tonegen.ear.afterwards import to_hear
from tonegen.ear.lesson import LessonStep
from tonegen.ear.lesson_question import AnswerForm
from tonegen.ear.rendering import Samples, one_after_another
from tonegen.ear.session import Answered
from tonegen.ear.trials import Trial, judge
from tonegen.errors import BadValue
from tonegen.page.classroom.asks import InLesson, ListenersChoice, ListenersName
from tonegen.page.ears import asks as ears
from tonegen.page.ears.teaching import LessonStepView, Teacher

MOST_PHONES = 60


class ListenersView(Struct, tag="phone", frozen=True):
    """What a phone shows. mine : its own choice; shown : how many chose each, () until answers are shown.

    lesson : the step where it is in the lesson that it was given, in place of a question
    """

    number: int
    question: str
    choices: tuple[str, ...]
    mine: int | None
    right: int | None
    words: str
    shown: tuple[int, ...]
    names: bool
    on_phones: bool
    lesson: LessonStepView | None


class AnsweredShare(Struct, frozen=True):
    """Of a step, or of one who takes the lesson: how many answers there are, and how many are right."""

    words: str
    answered: int
    right: int


@dataclass(frozen=True, slots=True, eq=False)
class ClassQuestion:
    """What all are asked at once. words : what it was; samples_at : its sound at a sample rate."""

    ask: str
    choices: tuple[str, ...]
    right: int
    words: str
    samples_at: Callable[[int], Samples]


def question_of_trial(trial: Trial) -> ClassQuestion:
    """A trial as a question. Raises BadValue for one that is not answered by choice."""
    if not trial.choices:
        raise BadValue("a class answers by choice: which is purer, which side, which interval, A or B")
    as_it_was = to_hear(Answered(trial, trial.right, judge(trial, trial.right)))
    words = "; ".join(one.words for one in as_it_was) + "."
    sound = partial(one_after_another, trial.sounds)
    return ClassQuestion(trial.question, trial.choices, int(trial.right), words, sound)


def question_of_step(step: LessonStep) -> ClassQuestion:
    """That of a step of a lesson. Raises BadValue where none is answered by choice."""
    question = step.question
    if question is None or question.form is not AnswerForm.CHOOSE:
        raise BadValue("this step has no question to choose from; give the phones the lesson instead")
    sound = step.sounds[question.about].rendered
    return ClassQuestion(question.ask, question.answers, int(question.right), question.because, sound)


class LiveClass:
    """One class, from its first phone to its end: at a question, or each phone at its step of a lesson."""

    def __init__(self, names: bool, on_phones: bool) -> None:
        """Nobody is there yet."""
        self.token = secrets.token_urlsafe(16)
        self.names, self.on_phones = names, on_phones
        self.number = 0
        self.question: ClassQuestion | None = None
        self.is_shown = False
        self.lesson = ""
        self._answers: dict[str, int] = {}
        self._names: dict[str, str] = {}
        self._phones: dict[object, str] = {}
        self._teachers: dict[str, Teacher] = {}
        self._replies: dict[tuple[str, int], bool] = {}

    def join(self, phone: object, said: ListenersName) -> None:
        """A phone comes, or comes back: its answer is where it was. Raises BadValue for too many."""
        if phone not in self._phones and len(self._phones) >= MOST_PHONES:
            raise BadValue(f"this class is full: {MOST_PHONES} phones are in it")
        self._phones[phone] = said.listener
        self._names[said.listener] = " ".join(said.name.split()) if self.names else ""

    def leave(self, phone: object) -> None:
        """A phone goes; what it answered counts."""
        self._phones.pop(phone, None)

    # ------------------------------------------------------------------ a question

    def ask(self, question: ClassQuestion) -> None:
        """A new question; a lesson that was given waits."""
        self.number, self.question, self.is_shown = self.number + 1, question, False
        self._answers = {}

    def choose(self, phone: object, said: ListenersChoice) -> None:
        """An answer; one to an earlier question, or after answers were shown, is none. Raises BadValue."""
        listener, question = self._phones.get(phone), self.question
        if listener is None or question is None or said.number != self.number or self.is_shown:
            return
        if not said.choice < len(question.choices):
            raise BadValue(f"this question has answers 1 to {len(question.choices)}")
        self._answers[listener] = said.choice

    @property
    def phones(self) -> int:
        """How many are there now; one that is open twice is one."""
        return len(set(self._phones.values()))

    @property
    def answered(self) -> int:
        """How many have answered the question."""
        return len(self._answers)

    @property
    def told(self) -> ClassQuestion | None:
        """The question whose answers are shown."""
        return self.question if self.is_shown else None

    def counts(self) -> tuple[int, ...]:
        """How many chose each answer; () until answers are shown."""
        if self.told is None:
            return ()
        chosen = list(self._answers.values())
        return tuple(chosen.count(choice) for choice in range(len(self.told.choices)))

    def who(self) -> tuple[tuple[str, ...], ...]:
        """Who chose each answer, where names are wanted and answers are shown."""
        if self.told is None or not self.names:
            return ()
        return tuple(
            tuple(sorted(self._name(one) for one in self._answers if self._answers[one] == at))
            for at in range(len(self.told.choices))
        )

    # ------------------------------------------------------------------ a lesson

    def teach(self, lesson: str) -> None:
        """Give every phone a lesson; the same again goes on where each was. Raises a TonegenError."""
        if lesson != self.lesson:
            Teacher().open(lesson, 0)  # refused here if it cannot be had
            self.lesson, self._teachers, self._replies = lesson, {}, {}
        self.question, self._answers = None, {}

    def reply(self, phone: object, said: InLesson) -> None:
        """What a phone does in its lesson; nothing where it has none. Raises BadValue for what cannot be."""
        listener = self._phones.get(phone)
        if listener is None or self._is_asking:
            return
        teacher = self._teacher(listener)
        match said:
            case ears.OpenLesson():
                teacher.open(self.lesson, said.step)
                return
            case ears.Reply():
                kept = teacher.answer(said.at)
            case ears.Taps():
                kept = teacher.tapped(said.times_ms)
            case ears.Settle():
                kept = teacher.settle(said.cents)
        _, step, _, right = kept
        self._replies[listener, step] = right

    def by_step(self, titles: tuple[str, ...]) -> tuple[AnsweredShare, ...]:
        """Of each step of the lesson how many answered, and how many rightly at last."""
        return tuple(
            _share(title, [right for (_, step), right in self._replies.items() if step == at])
            for at, title in enumerate(titles)
        )

    def by_name(self) -> tuple[AnsweredShare, ...]:
        """The same of each who answered, where names are wanted."""
        if not self.names:
            return ()
        return tuple(
            _share(self._name(one), [right for (who, _), right in self._replies.items() if who == one])
            for one in sorted({who for who, _ in self._replies}, key=self._name)
        )

    @property
    def _is_asking(self) -> bool:
        return self.question is not None or not self.lesson

    def _teacher(self, listener: str) -> Teacher:
        if listener not in self._teachers:
            self._teachers[listener] = Teacher()
            self._teachers[listener].open(self.lesson, 0)
        return self._teachers[listener]

    def _name(self, listener: str) -> str:
        return self._names.get(listener, "") or "?"

    def view(self, phone: object) -> ListenersView:
        """What this phone shows."""
        question, listener = self.question, self._phones.get(phone, "")
        return ListenersView(
            number=self.number if question else 0,
            question=question.ask if question else "",
            choices=question.choices if question else (),
            mine=self._answers.get(listener),
            right=self.told.right if self.told else None,
            words=self.told.words if self.told else "",
            shown=self.counts(),
            names=self.names,
            on_phones=self.on_phones,
            lesson=None if self._is_asking or not listener else self._teacher(listener).step_view(),
        )


def _share(words: str, right: list[bool]) -> AnsweredShare:
    return AnsweredShare(words, len(right), sum(right))
