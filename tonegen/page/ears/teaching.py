"""Lessons at the page: a step with its sounds, what beats in them drawn, a question and its answer."""

from typing import Final

from msgspec import Struct

from tonegen import presets
from tonegen.ear.lesson import KIND, Lesson, LessonSound, LessonStep, lesson, rungs, swelling, what_beats
from tonegen.ear.rendering import Clip, Samples, Source
from tonegen.errors import BadPreset, BadValue

_CELLS: Final = 240


class LessonName(Struct, frozen=True):
    """A lesson that can be taken."""

    name: str
    title: str


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
    """One sound of a step."""

    caption: str
    seconds: float
    tones: tuple[ToneView, ...]
    swells: tuple[SwellView, ...]
    words: tuple[str, ...]


class LessonStepView(Struct, frozen=True):
    """A step; `verdict` says what became of the answer, "" before one. `heard` : the sound that plays."""

    lesson: str
    at: int
    of: int
    title: str
    say: str
    sounds: tuple[LessonSoundView, ...]
    ask: str
    answers: tuple[str, ...]
    verdict: str
    right: bool | None
    heard: int | None


class Teaching(Struct, tag="lesson", frozen=True):
    """The lessons there are, and the step that is open."""

    lessons: tuple[LessonName, ...]
    step: LessonStepView | None


class Demonstrated:
    """A sound of a lesson, from its beginning for each who plays it."""

    def __init__(self, sound: LessonSound) -> None:
        """Nothing is rendered yet."""
        self._sound = sound
        self._made: dict[int, Samples] = {}

    def prepare(self, sample_rate: int) -> None:
        """Render it, so that it can be played at once."""
        if sample_rate not in self._made:
            self._made[sample_rate] = self._sound.rendered(sample_rate)

    def __call__(self, sample_rate: int) -> Source:
        """A clip of its own at that rate."""
        self.prepare(sample_rate)
        return Clip(self._made[sample_rate])


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
        self._answer: int | None = None

    @property
    def teaching(self) -> bool:
        """Whether a step is open."""
        return self._lesson is not None

    def open(self, name: str, at: int) -> None:
        """Open a step of a lesson by its listed name; a page never names a file."""
        if name not in presets.names(KIND):
            raise BadPreset(f'there is no lesson called "{name[:40]}"; see: tonegen list {KIND}')
        found = lesson(name)
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
        sounds = self._step().sounds
        if not 0 <= at < len(sounds):
            raise BadValue("this step does not have that sound")
        self.heard, self._sound = Demonstrated(sounds[at]), at

    def answer(self, at: int) -> None:
        """Answer the question of the step. Raises BadValue for an answer that there is not."""
        question = self._step().question
        if question is None or not 0 <= at < len(question.answers):
            raise BadValue("this step does not have that answer")
        self._answer = at

    def view(self) -> Teaching:
        """What the page shows."""
        names = tuple(
            LessonName(name, presets.files.title(KIND, name) or name) for name in presets.names(KIND)
        )
        return Teaching(names, self._step_view() if self._lesson else None)

    def _step(self) -> LessonStep:
        if self._lesson is None:
            raise BadValue("no lesson is open")
        return self._lesson.steps[self._at]

    def _step_view(self) -> LessonStepView:
        assert self._lesson is not None
        step, question, answer = self._step(), self._step().question, self._answer
        verdict, right = "", None
        if question is not None and answer is not None:
            right = answer == question.right
            verdict = ("Yes. " if right else f"No: {question.answers[question.right]}. ") + question.because
        return LessonStepView(
            lesson=self._lesson.name,
            at=self._at,
            of=len(self._lesson.steps),
            title=step.title,
            say=step.say,
            sounds=tuple(_sound_view(sound) for sound in step.sounds),
            ask=question.ask if question else "",
            answers=question.answers if question else (),
            verdict=verdict,
            right=right,
            heard=self._sound,
        )


def _sound_view(sound: LessonSound) -> LessonSoundView:
    return LessonSoundView(
        caption=sound.caption,
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
