"""Trials behind the pages: one thread keeps answers and renders; neither pages nor sound wait for it."""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from tonegen import presets
from tonegen.ear.history import History
from tonegen.ear.partner import RecordingNote
from tonegen.ear.planning import Wish, material_of, parse_levels, parse_register, spectrum_of
from tonegen.ear.trials import Chord, parse_chords
from tonegen.errors import BadPreset, BadValue, CannotWrite, TonegenError
from tonegen.frozen import Frozen
from tonegen.page.ears import asks
from tonegen.page.ears.matching import MovedTone, NoteMatch
from tonegen.page.ears.offered import offered
from tonegen.page.ears.teaching import Demonstrated, Teacher
from tonegen.page.ears.training import ALL, EarsView, Heard, Training, nobody
from tonegen.page.stage.stage import SourceAt
from tonegen.sounding import SoundingTone

AboutEars = (
    asks.ShowEars | asks.Train | asks.GoOn | asks.Practise | asks.Forget | asks.Pause | asks.Hear
    | asks.NextTrial | asks.ChooseAnswer | asks.Taps | asks.Move | asks.Settle
    | asks.OpenLesson | asks.Demonstrate | asks.Reply | asks.MatchRecording
)  # fmt: skip
_IN_A_MATCH: Final = (asks.Hear, asks.Move, asks.Settle, asks.NextTrial)

_Heard = Heard | Demonstrated | MovedTone

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
        self.note: RecordingNote | None = None  # the partner's that was sent last
        self._heard: _Heard | None = None
        self._training: Training | None = None
        self._teacher = Teacher()
        self._matching: NoteMatch | None = None
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
        if isinstance(asked, asks.MatchRecording) or (self._matching and isinstance(asked, _IN_A_MATCH)):
            return self._matched(asked, sample_rate, muted)
        if not isinstance(asked, asks.ShowEars):
            self._matching = None
        answered = isinstance(asked, asks.Move | asks.Taps | asks.Settle) and self._teacher.teaching
        if answered or isinstance(asked, asks.OpenLesson | asks.Demonstrate | asks.Reply):
            return self._taught(asked, sample_rate, muted)
        complaint = ""
        messages: dict[str, Struct] = {}
        if self._teacher.teaching and isinstance(asked, asks.Train | asks.GoOn | asks.Practise | asks.Pause):
            self._teacher.leave()
            messages["lesson"] = self._teacher.view({})
        try:
            training = self._training = self._training or Training(History(self._path))
            was_asking, before = training.asking, training.heard
            training.muted = muted
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
            messages["ears"] = self._view(training)
            if "lesson" in messages or isinstance(asked, asks.ShowEars | asks.Forget):
                messages["lesson"] = self._teacher.view(training.lessons())
            if not training.asking and (was_asking or isinstance(asked, asks.ShowEars | asks.Forget)):
                messages["eargraphs"] = training.graphs()
        except CannotWrite as error:
            # What is kept is safe; the file is reopened when a page asks again.
            person = self._training.person if self._training else ""
            self._shut()
            messages["ears"] = nobody(self._offered, person)
            messages["lesson"] = self._teacher.view({})
            return _Outcome(messages, self._teacher.heard, self._teacher.teaching, str(error))
        matching = self._matching
        heard = training.heard or self._teacher.heard or (matching.heard if matching else None)
        asking = training.asking or self._teacher.teaching or matching is not None
        return _Outcome(messages, heard, asking, complaint)

    def _matched(self, asked: AboutEars, sample_rate: int, muted: bool) -> "_Outcome":
        """The same for a partner's note."""
        messages: dict[str, Struct] = {}
        complaint, reply = "", None
        try:
            training = self._training = self._training or Training(History(self._path))
            try:
                match asked:
                    case asks.MatchRecording():
                        if self.note is None:
                            raise BadValue("send the partner's recording first")
                        training.meet(asked.person)
                        training.pause()
                        if self._teacher.teaching:
                            self._teacher.leave()
                            messages["lesson"] = self._teacher.view(training.lessons())
                        self._matching = NoteMatch(self.note, asked.name)
                    case asks.Hear():
                        self._match().hear()
                    case asks.Move():
                        self._match().move(asked.cents)
                    case asks.Settle():
                        reply = self._match().settle(asked.number, asked.cents)
                    case asks.NextTrial():
                        self._match().go_on()
            except CannotWrite:
                raise
            except TonegenError as error:
                complaint = str(error)
            if reply is not None:
                training.keep_reply(*reply)
        except CannotWrite as error:
            self._matching = None
            self._shut()
            return _Outcome({"ears": nobody(self._offered, "")}, None, False, str(error))
        matching = self._matching
        if matching and muted:
            matching.hush()
        if matching and matching.heard:
            matching.heard.prepare(sample_rate)
        messages["ears"] = self._view(training)
        if matching and not matching.asking:
            matching = self._matching = None
        return _Outcome(messages, matching.heard if matching else None, matching is not None, complaint)

    def _match(self) -> NoteMatch:
        assert self._matching is not None
        return self._matching

    def _view(self, training: Training) -> EarsView:
        """What the page shows of trials, or in their place of a partner's note."""
        view, matching = training.view(self._offered), self._matching
        if matching is None:
            return view
        return replace(
            view,
            asked=matching.asked(),
            after=matching.after(),
            said=matching.said,
            right=matching.right,
            heard=ALL if matching.heard else None,
            results=(),
            notice=matching.notice or view.notice,
        )

    def _taught(self, asked: AboutEars, sample_rate: int, muted: bool) -> "_Outcome":
        """The same for lessons, which go on where nothing can be kept."""
        teacher, complaint, reply = self._teacher, "", None
        try:
            match asked:
                case asks.OpenLesson():
                    teacher.open(asked.name, asked.step)
                case asks.Demonstrate():
                    teacher.hear(asked.at)
                case asks.Reply():
                    reply = teacher.answer(asked.at)
                case asks.Taps():
                    reply = teacher.tapped(asked.times_ms)
                case asks.Move():
                    teacher.move(asked.cents)
                case asks.Settle():
                    reply = teacher.settle(asked.cents)
        except TonegenError as error:
            complaint = str(error)
        done: Mapping[str, str] = {}
        try:
            training = self._training = self._training or Training(History(self._path))
            if reply is not None:
                training.keep_reply(*reply)
            done = training.lessons()
        except CannotWrite as error:
            complaint = str(error)
            self._shut()
        if muted:
            teacher.hush()
        _prepare(teacher.heard, sample_rate)
        messages: dict[str, Struct] = {"lesson": teacher.view(done)}
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
    heard: _Heard | None
    asking: bool
    complaint: str


def _prepare(heard: _Heard | None, sample_rate: int) -> None:
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
        case asks.Practise():
            training.practise(asked.person, asked.interval, asked.register, asked.feedback)
        case asks.Forget():
            training.forget(asked.person)
        case asks.Pause():
            training.pause()
        case asks.Hear():
            training.hear(asked.at)
        case asks.NextTrial():
            training.go_to_next()
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
    names: tuple[str, ...] = ()
    tempered_cents: tuple[float, ...] = ()
    if asked.grip is not None:
        found = material_of(grip)
        chords, low_hz, names = (found.chord,), found.low_hz, found.names
        tempered_cents = found.tempered_cents
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
        seconds=asked.seconds,
        names=names,
        tempered_cents=tempered_cents,
    )
