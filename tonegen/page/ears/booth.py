"""Trials behind the pages: one thread keeps answers and renders; neither pages nor sound wait for it."""

import asyncio
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from msgspec import Struct

from tonegen import presets
from tonegen.ear.history import History
from tonegen.ear.planning import Wish, material_of, parse_levels, parse_register, spectrum_of
from tonegen.ear.trials import Chord, parse_chords
from tonegen.errors import BadPreset, BadValue, CannotWrite, TonegenError
from tonegen.frozen import Frozen
from tonegen.page.ears import asks
from tonegen.page.ears.offered import offered
from tonegen.page.ears.teaching import Demonstrated, Teacher
from tonegen.page.ears.training import Heard, Training, nobody
from tonegen.page.stage.stage import SourceAt
from tonegen.sounding import SoundingTone

AboutEars = (
    asks.ShowEars | asks.Train | asks.GoOn | asks.Forget | asks.Pause | asks.Hear | asks.ChooseAnswer
    | asks.Taps | asks.Move | asks.Settle | asks.OpenLesson | asks.Demonstrate | asks.Reply
)  # fmt: skip

_MOST_WAITING: Final = 100  # a page that asks faster than it is answered is told so


class EarsBooth:
    """The trials that all pages share.

    post : shows pages a message; complain : takes a line for a person
    play : called in the event loop with what shall sound; None is silence
    """

    def __init__(
        self,
        path: Path,
        post: Callable[[Struct], None],
        complain: Callable[[str], None],
        play: Callable[[SourceAt | None], None],
    ) -> None:
        """Nothing is opened before a page asks."""
        self.asking = False  # whether a trial is open, and everything else silent
        self.shown: dict[str, Struct] = {}
        self._path = path
        self._post = post
        self._complain = complain
        self._play = play
        self._heard: Heard | Demonstrated | None = None
        self._training: Training | None = None
        self._teacher = Teacher()
        self._offered = offered()
        self._thread = ThreadPoolExecutor(1, "ears")
        self._waiting: set[asyncio.Task[None]] = set()

    def ask(self, asked: AboutEars, grip: Sequence[SoundingTone], sample_rate: int, muted: bool) -> None:
        """Do what a page asks, in its turn; `grip` is the one that is asked for, if any."""
        if len(self._waiting) >= _MOST_WAITING:
            raise BadValue("too many requests at once; wait a moment")
        done = asyncio.get_running_loop().run_in_executor(
            self._thread, self._done, asked, tuple(grip), sample_rate, muted
        )
        task = asyncio.ensure_future(self._shown_when(done, sample_rate, again=isinstance(asked, asks.Hear)))
        self._waiting.add(task)
        task.add_done_callback(self._waiting.discard)

    def hush(self) -> None:
        """Fall silent at once, and stay at the question."""
        if self._heard is not None:
            self._heard = None
            self._play(None)

    async def as_csv(self) -> str:
        """Every answer of the person who answers, as a table. Raises CannotWrite where none can be read."""
        return await asyncio.get_running_loop().run_in_executor(self._thread, self._csv)

    async def close(self) -> None:
        """Wait for what is under way, and close the history."""
        await asyncio.get_running_loop().run_in_executor(self._thread, self._shut)
        self._thread.shutdown()

    async def _shown_when(self, done: "asyncio.Future[_Outcome]", sample_rate: int, again: bool) -> None:
        outcome = await done
        before, self.asking = self.asking, outcome.asking
        if outcome.asking != before or outcome.heard is not self._heard or again:
            self._heard = outcome.heard
            self._play(outcome.heard)
        for kind, message in outcome.messages.items():
            self.shown[kind] = message
            self._post(message)
        if outcome.complaint:
            self._complain(outcome.complaint)
        if outcome.heard is not None:
            asyncio.get_running_loop().run_in_executor(self._thread, self._look_ahead, sample_rate)

    # ------------------------------------------------------------------ in the thread

    def _done(
        self, asked: AboutEars, grip: tuple[SoundingTone, ...], sample_rate: int, muted: bool
    ) -> "_Outcome":
        """Do it all, rendering included, and say what is to be heard and shown."""
        if isinstance(asked, asks.OpenLesson | asks.Demonstrate | asks.Reply):
            return self._taught(asked, sample_rate, muted)
        complaint = ""
        messages: dict[str, Struct] = {}
        if self._teacher.teaching and isinstance(asked, asks.Train | asks.GoOn | asks.Pause):
            self._teacher.leave()
            messages["lesson"] = self._teacher.view()
        elif isinstance(asked, asks.ShowEars):
            messages["lesson"] = self._teacher.view()
        try:
            training = self._training = self._training or Training(History(self._path))
            was_asking, before = training.asking, training.heard
            try:
                _do(training, asked, grip)
            except CannotWrite:
                raise
            except TonegenError as error:
                complaint = str(error)
            if muted and not isinstance(asked, asks.Hear):
                training.hush()
            if training.heard is not before or isinstance(asked, asks.Hear):
                _prepare(training.heard, sample_rate)
            messages["ears"] = training.view(self._offered)
            if not training.asking and (was_asking or isinstance(asked, asks.ShowEars | asks.Forget)):
                messages["eargraphs"] = training.graphs()
        except CannotWrite as error:
            # What is kept is safe; the file is reopened when a page asks again.
            person = self._training.person if self._training else ""
            self._shut()
            messages["ears"] = nobody(self._offered, person)
            return _Outcome(messages, self._teacher.heard, self._teacher.teaching, str(error))
        heard = training.heard or self._teacher.heard
        return _Outcome(messages, heard, training.asking or self._teacher.teaching, complaint)

    def _taught(
        self, asked: asks.OpenLesson | asks.Demonstrate | asks.Reply, sample_rate: int, muted: bool
    ) -> "_Outcome":
        """The same for lessons, which need no history."""
        teacher, complaint = self._teacher, ""
        try:
            match asked:
                case asks.OpenLesson():
                    teacher.open(asked.name, asked.step)
                case asks.Demonstrate():
                    teacher.hear(asked.at)
                case asks.Reply():
                    teacher.answer(asked.at)
        except TonegenError as error:
            complaint = str(error)
        if muted:
            teacher.hush()
        _prepare(teacher.heard, sample_rate)
        messages: dict[str, Struct] = {"lesson": teacher.view()}
        if teacher.teaching and self._training is not None and self._training.asking:
            self._training.pause()
            messages["ears"] = self._training.view(self._offered)
        return _Outcome(messages, teacher.heard, teacher.teaching, complaint)

    def _csv(self) -> str:
        if self._training is None:
            raise BadValue("no answers yet; open Ears first")
        return self._training.as_csv()

    def _look_ahead(self, sample_rate: int) -> None:
        if self._training is not None:
            self._training.look_ahead(sample_rate)

    def _shut(self) -> None:
        if self._training is not None:
            self._training.close()
            self._training = None


@dataclass(frozen=True, slots=True)
class _Outcome(Frozen):
    """What comes of one thing asked."""

    messages: dict[str, Struct]
    heard: Heard | Demonstrated | None
    asking: bool
    complaint: str


def _prepare(heard: Heard | Demonstrated | None, sample_rate: int) -> None:
    """Render here, in the thread, so that it is ready when it is played."""
    if heard is not None:
        heard.prepare(sample_rate)


def _do(training: Training, asked: AboutEars, grip: tuple[SoundingTone, ...]) -> None:
    match asked:
        case asks.ShowEars():
            training.meet(asked.person)
        case asks.Train():
            training.begin(asked.person, _wish(asked, grip), asked.feedback)
        case asks.GoOn():
            training.go_on(asked.person, asked.session, asked.feedback)
        case asks.Forget():
            training.forget(asked.person)
        case asks.Pause():
            training.pause()
        case asks.Hear():
            training.hear(asked.at)
        case asks.ChooseAnswer():
            training.choose(asked.number, asked.choice)
        case asks.Taps():
            training.tapped(asked.number, asked.times_ms)
        case asks.Move():
            training.move(asked.cents)
        case asks.Settle():
            training.settle(asked.number, asked.cents)


def _spectrum(name: str) -> tuple[float, ...]:
    """That of a timbre by its listed name; a page never names a file."""
    if name not in presets.names("timbres"):
        raise BadPreset(f'there is no timbre called "{name[:40]}"; see: tonegen list timbres')
    return spectrum_of(presets.timbre(name), name)


def _wish(asked: asks.Train, grip: Sequence[SoundingTone]) -> Wish:
    """What is asked for, in terms of the ear. Raises BadValue for what makes no sense."""
    chords: tuple[Chord, ...] | None = None
    low_hz = None
    if asked.grip is not None:
        chord, low_hz = material_of(grip)
        chords = (chord,)
    elif asked.intervals:
        chords = parse_chords(asked.intervals)
    return Wish(
        asked.kind,
        chords,
        parse_register(asked.register) if asked.register else low_hz,
        spectra=(_spectrum(asked.timbre),) if asked.timbre else (),
        bed=asked.bed,
        trials=asked.trials,
        method=asked.method,
        levels_cents=parse_levels(asked.cents) if asked.cents else (),
    )
