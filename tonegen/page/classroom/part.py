"""The part of the page that holds a class."""

import asyncio
import contextlib
import io
import secrets
import wave
from collections.abc import Iterable
from typing import Annotated, ClassVar, Final, Protocol

import msgspec
import numpy as np
from msgspec import Meta, Struct

from tonegen import presets
from tonegen.ear.lesson import KIND, lesson
from tonegen.ear.lesson_question import AnswerForm
from tonegen.ear.planning import Wish, plan_of
from tonegen.ear.rendering import Clip, Samples
from tonegen.ear.session import Method, Session
from tonegen.ear.trials import parse_chords
from tonegen.errors import BadValue, TonegenError
from tonegen.page.asked import Asked
from tonegen.page.classroom import asks
from tonegen.page.classroom.live import (
    AnsweredShare,
    ClassQuestion,
    LiveClass,
    question_of_step,
    question_of_trial,
)
from tonegen.page.ears.teaching import FARTHEST_CENTS, listed_lesson
from tonegen.page.part import Act, Host, Part
from tonegen.page.sound.asks import Steady

_FILE_RATE: Final = 44_100


class ListenersPage(Protocol):
    """A phone of the class, as the server holds it."""

    def post(self, kind: str, message: bytes) -> None:
        """Show it something."""


class HeardInLesson(Struct, frozen=True):
    """Which sound of a lesson a phone hears: of which step, and how far its last tone was moved."""

    step: Annotated[int, Meta(ge=0, le=100)]
    sound: Annotated[int, Meta(ge=0, le=100)]
    cents: Annotated[float, Meta(ge=-FARTHEST_CENTS, le=FARTHEST_CENTS)] = 0.0


class QuestionName(Struct, frozen=True):
    """A step of a lesson whose question a class can answer."""

    step: int
    title: str


class LessonForClass(Struct, frozen=True):
    """A lesson that can be given to a class."""

    name: str
    title: str
    questions: tuple[QuestionName, ...]


class ClassView(Struct, tag="class", frozen=True):
    """What the teacher sees.

    code : rows of the link's QR code, 1 for black. counts, who : of each answer, once they are shown
    lesson : the one that was given, "" without one; steps, listeners : how far all are, and each by name
    """

    live: bool
    link: str
    code: tuple[str, ...]
    names: bool
    on_phones: bool
    phones: int
    number: int
    question: str
    choices: tuple[str, ...]
    answered: int
    right: int | None
    words: str
    counts: tuple[int, ...]
    who: tuple[tuple[str, ...], ...]
    lessons: tuple[LessonForClass, ...]
    lesson: str
    steps: tuple[AnsweredShare, ...]
    listeners: tuple[AnsweredShare, ...]


_NO_CLASS: Final = ClassView(
    False, "", (), False, False, 0, 0, "", (), 0, None, "", (), (), (), "", (), ()
)  # fmt: skip


class ClassPart(Part):
    """One class at a time."""

    def __init__(self, host: Host) -> None:
        """No class yet; address : where phones find this server, "" where they cannot."""
        super().__init__(host)
        self.address = ""
        self._live: LiveClass | None = None
        self._phones: set[ListenersPage] = set()
        self._lessons: tuple[LessonForClass, ...] = ()

    @property
    def token(self) -> str:
        """What phones bring; "" while there is no class."""
        return self._live.token if self._live else ""

    @property
    def asks_alone(self) -> bool:
        """Whether a question is open that sounds here."""
        live = self._live
        return live is not None and live.question is not None and not (live.is_shown or live.on_phones)

    def shown(self) -> Iterable[Struct]:
        """Where the class stands."""
        return (self._view(),) if self._live else ()

    def leave_alone(self) -> None:
        """The teacher's page was closed: the class waits for it."""

    # ------------------------------------------------------------------ phones

    def join(self, phone: ListenersPage, said: asks.ListenersName) -> None:
        """A phone comes. Raises BadValue where there is no class, or no room in it."""
        if self._live is None:
            raise BadValue("there is no class now")
        self._live.join(phone, said)
        self._phones.add(phone)
        self._show()

    def leave(self, phone: ListenersPage) -> None:
        """A phone goes."""
        self._phones.discard(phone)
        if self._live is not None:
            self._live.leave(phone)
            self._show()

    def say(self, phone: ListenersPage, said: asks.FromPhone) -> None:
        """A phone comes, answers, or goes on in its lesson. Raises a TonegenError for what cannot be."""
        live = self._live
        if isinstance(said, asks.ListenersName):
            self.join(phone, said)
        elif live is not None:
            if isinstance(said, asks.ListenersChoice):
                live.choose(phone, said)
            else:
                live.reply(phone, said)
            self._show_phone(phone)
            self.host.post(self._view())

    async def sound(self) -> bytes:
        """The question as a WAV file, for phones. Raises BadValue where nothing sounds on them."""
        live = self._live
        if live is None or live.question is None or not live.on_phones:
            raise BadValue("nothing sounds on the phones now")
        return await asyncio.to_thread(_as_wav, live.question.samples_at(_FILE_RATE))

    async def lesson_sound(self, asked: HeardInLesson) -> bytes:
        """A sound of the lesson that was given, as a WAV file. Raises a TonegenError where there is none."""
        live = self._live
        if live is None or not live.lesson:
            raise BadValue("no lesson was given")
        steps = lesson(live.lesson).steps
        if not asked.step < len(steps):
            raise BadValue(f"this lesson has steps 1 to {len(steps)}")
        sound = steps[asked.step].heard_at(asked.sound).with_last_moved(asked.cents)
        return await asyncio.to_thread(lambda: _as_wav(sound.rendered(_FILE_RATE)))

    # ------------------------------------------------------------------ the teacher

    def _start(self, asked: asks.StartClass) -> None:
        if not self.address:
            raise BadValue("phones cannot reach this page: start it with: tonegen page --lan")
        self._stop()
        self._lessons = _lessons_for_class()
        self._live = LiveClass(asked.names, asked.on_phones)
        self._show()

    def _train(self, asked: asks.TrainClass) -> None:
        chords = parse_chords(asked.intervals) if asked.intervals else None
        # An error of one size: what one person hears in turn, a class hears at once.
        cents = (asked.cents,) if asked.cents else ()
        plan = plan_of(
            Wish(asked.kind, chords, trials=1, method=Method.FIXED, levels_cents=cents),
            secrets.randbelow(2**31),
        )
        self._ask(question_of_trial(Session(plan).next_trial()))

    def _ask_of_lesson(self, asked: asks.LessonQuestion) -> None:
        steps = listed_lesson(asked.lesson).steps
        if not asked.step < len(steps):
            raise BadValue(f"this lesson has steps 1 to {len(steps)}")
        self._ask(question_of_step(steps[asked.step]))

    def _ask(self, question: ClassQuestion) -> None:
        self._under_way().ask(question)
        self._show()
        self._hear()

    def _share(self, asked: asks.ShareLesson) -> None:
        self._under_way().teach(asked.lesson)
        self._hush()
        self._show()

    def _hear(self, _: asks.HearClass | None = None) -> None:
        question = self._under_way().question
        if question is None:
            raise BadValue("ask the class first")
        if not self._under_way().on_phones:
            self.host.work(self._played(question))

    async def _played(self, question: ClassQuestion) -> None:
        made = await asyncio.to_thread(question.samples_at, self.host.stage.player.sample_rate)
        self.host.ask(Steady(False))
        self.host.sound_anew()
        self.host.stage.play_in_booth(lambda rate: Clip(made))

    def _show_answer(self, _: asks.ShowAnswer) -> None:
        self._under_way().is_shown = True
        self._hush()
        self._show()

    def _stop(self, _: asks.StopClass | None = None) -> None:
        if self._live is None:
            return
        self._live = None
        for phone in self._phones:
            phone.post("ended", b"{}")
        self._phones.clear()
        self._hush()
        self._show()

    def _hush(self) -> None:
        self.host.sound_anew()
        self.host.stage.play_in_booth(None)

    def _under_way(self) -> LiveClass:
        if self._live is None:
            raise BadValue("there is no class; start one first")
        return self._live

    def _show(self) -> None:
        self.host.post(self._view())
        for phone in self._phones:
            self._show_phone(phone)

    def _show_phone(self, phone: ListenersPage) -> None:
        if self._live is not None:
            phone.post("class", msgspec.json.encode(self._live.view(phone)))

    def _view(self) -> ClassView:
        live = self._live
        if live is None:
            return _NO_CLASS
        import segno

        link = f"{self.address}/classroom?token={live.token}"
        question, given = live.question, lesson(live.lesson) if live.lesson else None
        return ClassView(
            live=True,
            link=link,
            code=tuple("".join("1" if cell else "0" for cell in row) for row in segno.make(link).matrix),
            names=live.names,
            on_phones=live.on_phones,
            phones=live.phones,
            number=live.number if question else 0,
            question=question.ask if question else "",
            choices=question.choices if question else (),
            answered=live.answered,
            right=live.told.right if live.told else None,
            words=live.told.words if live.told else "",
            counts=live.counts(),
            who=live.who(),
            lessons=self._lessons,
            lesson=live.lesson,
            steps=live.by_step(tuple(step.title for step in given.steps)) if given else (),
            listeners=live.by_name(),
        )

    acts: ClassVar[dict[type[Asked], Act]] = {
        asks.StartClass: _start,
        asks.TrainClass: _train,
        asks.LessonQuestion: _ask_of_lesson,
        asks.ShareLesson: _share,
        asks.HearClass: _hear,
        asks.ShowAnswer: _show_answer,
        asks.StopClass: _stop,
    }


def _lessons_for_class() -> tuple[LessonForClass, ...]:
    """Those that can be read, with the questions in them to choose from."""
    found = []
    for name in presets.names(KIND):
        with contextlib.suppress(TonegenError):  # a teacher's own that is not finished yet
            one = lesson(name)
            questions = (
                QuestionName(at, step.title)
                for at, step in enumerate(one.steps)
                if step.question is not None and step.question.form is AnswerForm.CHOOSE
            )
            found.append(LessonForClass(name, one.title, tuple(questions)))
    return tuple(found)


def _as_wav(samples: Samples) -> bytes:
    """16-bit WAV, as soft as the booth has it at its usual level."""
    whole = (np.clip(samples, -1, 1) * 32767).astype("<i2")
    file = io.BytesIO()
    with wave.open(file, "wb") as writer:
        writer.setnchannels(whole.shape[1])
        writer.setsampwidth(2)
        writer.setframerate(_FILE_RATE)
        writer.writeframes(whole.tobytes())
    return file.getvalue()
