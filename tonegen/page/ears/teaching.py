"""Lessons at the page: a step with its sounds, a question and its answer; then what beats in them, drawn."""

from collections.abc import Mapping, Sequence
from math import isfinite
from typing import Final

from msgspec import Struct

from tonegen import presets
from tonegen.ear.lesson import (
    KIND,
    HeldTones,
    Lesson,
    LessonSound,
    LessonStep,
    lesson,
    rungs,
    swelling,
    what_beats,
)
from tonegen.ear.lesson_question import AnswerForm, Question
from tonegen.ear.rendering import Clip, Samples, Source
from tonegen.ear.taps import tapped_rate
from tonegen.errors import BadPreset, BadValue

_CELLS: Final = 240
FARTHEST_CENTS: Final = 60.0


class LessonName(Struct, frozen=True):
    """A lesson that can be taken, and how far the person who answers has come in it; "" for not begun."""

    name: str
    title: str
    done: str


class RungView(Struct, frozen=True, array_like=True):
    """A partial: its place from low to high, 0 to 1, and whether it meets one of another tone."""

    place: float
    meets: bool


class ToneView(Struct, frozen=True):
    """A tone with its partials."""

    name: str
    rungs: tuple[RungView, ...]


class SwellView(Struct, frozen=True):
    """A pair of tones: how loud its beat is over the sound, 0 to 1; -1 where it is too fast to follow."""

    pair: str
    loud: tuple[float, ...]


class LessonSoundView(Struct, frozen=True):
    """One sound of a step; the picture and the words of a hidden one come with the answer."""

    caption: str
    hidden: bool
    seconds: float
    tones: tuple[ToneView, ...]
    swells: tuple[SwellView, ...]
    words: tuple[str, ...]


class LessonStepView(Struct, frozen=True):
    """A step; `verdict` says what became of the answer, "" before one. `heard` : the sound that plays.

    form : how the question is answered, "" without one; about : the sound that goes on meanwhile
    sung : whether there is a tone to be sung, which is heard as the sound after the last
    """

    lesson: str
    at: int
    of: int
    title: str
    say: str
    sounds: tuple[LessonSoundView, ...]
    ask: str
    form: str
    what_to_do: str
    about: int
    sung: bool
    farthest_cents: float
    answers: tuple[str, ...]
    verdict: str
    right: bool | None
    heard: int | None


class Teaching(Struct, tag="lesson", frozen=True):
    """The lessons there are, and the step that is open."""

    lessons: tuple[LessonName, ...]
    step: LessonStepView | None


class Demonstrated:
    """A sound of a lesson, from its beginning for each who plays it; a lasting one can be moved."""

    def __init__(self, sound: LessonSound, lasting: bool = False) -> None:
        """Nothing is rendered yet."""
        self._sound = sound
        self._lasting = lasting
        self._made: dict[int, Samples] = {}
        self._held: HeldTones | None = None
        self._moved_cents = 0.0

    def move(self, cents: float) -> None:
        """Move its last tone so far from where it started."""
        self._moved_cents = cents
        if self._held is not None:
            self._held.move(cents)

    def prepare(self, sample_rate: int) -> None:
        """Render it, so that it can be played at once."""
        if not self._lasting and sample_rate not in self._made:
            self._made[sample_rate] = self._sound.rendered(sample_rate)

    def __call__(self, sample_rate: int) -> Source:
        """A source of its own at that rate."""
        if self._lasting:
            source = self._sound.lasting(sample_rate)
            if isinstance(source, HeldTones):
                self._held = source
                self.move(self._moved_cents)
            return source
        self.prepare(sample_rate)
        return Clip(self._made[sample_rate])


def listed_lesson(name: str) -> Lesson:
    """A lesson by its listed name: a page never names a file. Raises BadPreset for another."""
    if name not in presets.names(KIND):
        raise BadPreset(f'there is no lesson called "{name[:40]}"; see: tonegen list {KIND}')
    return lesson(name)


class Teacher:
    """The step that is open, if any.

    heard : what shall sound now, None for silence
    """

    def __init__(self) -> None:
        """No lesson yet."""
        self.heard: Demonstrated | None = None
        self._lesson: Lesson | None = None
        self._at = 0
        self._sound: int | None = None
        self._answer: float | None = None

    @property
    def teaching(self) -> bool:
        """Whether a step is open."""
        return self._lesson is not None

    def open(self, name: str, at: int) -> None:
        """Open a step of a lesson by its listed name; a page never names a file."""
        found = listed_lesson(name)
        if not 0 <= at < len(found.steps):
            raise BadValue(f"this lesson has steps 1 to {len(found.steps)}")
        self.leave()
        self._lesson, self._at = found, at

    def leave(self) -> None:
        """Close the lesson."""
        self._lesson = self._answer = None
        self.hush()

    def hush(self) -> None:
        """Fall silent, and stay at the step."""
        self.heard = self._sound = None

    def hear(self, at: int) -> None:
        """Play a sound of the step. Raises BadValue for one that there is not."""
        self.heard, self._sound = Demonstrated(self._step().heard_at(at), self._goes_on(at)), at

    def _goes_on(self, at: int) -> bool:
        """Whether a sound goes on while the question stands: what is counted has a beginning and an end."""
        question = self._step().question
        if question is None or self._answer is not None:
            return False
        return question.form is not AnswerForm.COUNT and at == question.about

    def answer(self, answer: float) -> tuple[str, int, float, bool]:
        """Answer the question of the step: with a choice, or a count of beats; what is to be kept of it.

        Raises BadValue for an answer that there is not.
        """
        question = self._asked(AnswerForm.CHOOSE, AnswerForm.SING, AnswerForm.COUNT)
        if question.answers and answer not in range(len(question.answers)):
            raise BadValue("this step does not have that answer")
        return self._answered(question, answer)

    def tapped(self, times_ms: Sequence[float]) -> tuple[str, int, float, bool]:
        """Answer with taps. Raises BadValue for too few of them."""
        question = self._asked(AnswerForm.TAP)
        return self._answered(question, tapped_rate([at / 1000 for at in times_ms]).value)

    def move(self, cents: float) -> None:
        """Move the last tone of the sound in question so far from where it started; it is heard."""
        about = self._asked(AnswerForm.SET).about
        if not isfinite(cents):
            raise BadValue("the slider needs a finite number of cents")
        if self._sound != about or self.heard is None:
            self.hear(about)
        assert self.heard is not None
        self.heard.move(min(max(cents, -FARTHEST_CENTS), FARTHEST_CENTS))

    def settle(self, cents: float) -> tuple[str, int, float, bool]:
        """Answer with the tone where it is now."""
        question = self._asked(AnswerForm.SET)
        self.move(cents)
        return self._answered(question, self._step().sounds[question.about].off_cents + cents)

    def _asked(self, *forms: AnswerForm) -> Question:
        question = self._step().question
        if question is None or question.form not in forms:
            raise BadValue("this step is not answered so")
        return question

    def _answered(self, question: Question, answer: float) -> tuple[str, int, float, bool]:
        assert self._lesson is not None
        self._answer = answer
        return self._lesson.name, self._at, answer, question.is_right(answer)

    def view(self, done: Mapping[str, str]) -> Teaching:
        """What the page shows; `done` says of each lesson that was begun how far it is."""
        names = tuple(
            LessonName(name, presets.files.title(KIND, name) or name, done.get(name, ""))
            for name in presets.names(KIND)
        )
        return Teaching(names, self.step_view())

    def _step(self) -> LessonStep:
        if self._lesson is None:
            raise BadValue("no lesson is open")
        return self._lesson.steps[self._at]

    def step_view(self) -> LessonStepView | None:
        """The step that is open, as it is shown; None while none is."""
        if self._lesson is None:
            return None
        step, question, answer = self._step(), self._step().question, self._answer
        verdict, right = "", None
        if question is not None and answer is not None:
            right, verdict = question.is_right(answer), question.verdict(answer)
        hides = question is not None and answer is None
        return LessonStepView(
            lesson=self._lesson.name,
            at=self._at,
            of=len(self._lesson.steps),
            title=step.title,
            say=step.say,
            sounds=tuple(_sound_view(sound, hides and not sound.shown) for sound in step.sounds),
            ask=question.ask if question else "",
            form=question.form if question else "",
            what_to_do=question.what_to_do if question else "",
            about=question.about if question else 0,
            sung=bool(question and question.sung_hz),
            farthest_cents=FARTHEST_CENTS,
            answers=question.answers if question else (),
            verdict=verdict,
            right=right,
            heard=self._sound,
        )


def _sound_view(sound: LessonSound, hidden: bool) -> LessonSoundView:
    if hidden:
        return LessonSoundView(sound.caption, True, sound.seconds, (), (), ())
    return LessonSoundView(
        caption=sound.caption,
        hidden=False,
        seconds=sound.seconds,
        tones=tuple(
            ToneView(name, tuple(RungView(round(rung.place, 4), rung.meets) for rung in tone))
            for name, tone in zip(sound.names, rungs(sound), strict=True)
        ),
        swells=tuple(
            SwellView(
                swell.pair,
                tuple(
                    -1.0 if fast else round(loud, 3)
                    for loud, fast in zip(swell.loud.tolist(), swell.too_fast.tolist(), strict=True)
                ),
            )
            for swell in swelling(sound, _CELLS)
        ),
        words=what_beats(sound),
    )
