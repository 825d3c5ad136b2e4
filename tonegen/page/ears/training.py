"""One person's trials at the page: what is asked, what was answered, what is heard during it.

Nothing here knows the event loop or where the sound goes; answers are kept the moment they are given.
"""

import secrets
import time
from collections.abc import Sequence
from datetime import date, datetime
from math import isfinite
from typing import Final

from msgspec import Struct

from tonegen.ear.afterwards import AnsweredSound, to_hear
from tonegen.ear.history import History, login_name
from tonegen.ear.planning import Wish, plan_of
from tonegen.ear.practice import next_up, practice_plan
from tonegen.ear.rendering import Clip, HeldSound, Samples, Source, one_after_another
from tonegen.ear.rows import TrialHearing, as_csv
from tonegen.ear.session import Answered, Session
from tonegen.ear.taps import tapped_rate
from tonegen.ear.trend import trends
from tonegen.ear.trials import (
    ADJUSTED,
    HELD,
    Trial,
    TrialKind,
    TrialSound,
    chord_name,
)
from tonegen.ear.words import (
    by_eye_in_words,
    describe,
    practice_in_words,
    reply_in_words,
    result_in_words,
    trend_in_words,
    waiting_in_words,
)
from tonegen.errors import BadValue
from tonegen.page.ears.graphs import Graph, heard_at, over_days
from tonegen.page.ears.offered import Named, Offered

FARTHEST_CENTS: Final = 80.0
ALL: Final = -1
_MOST_NEXT: Final = 3
_NOTHING_TO_ADJUST: Final = "there is nothing to adjust in this trial"


class AskedView(Struct, frozen=True):
    """A question; `form` is how it is answered: choose, tap or slide.

    sounds : what can be heard by itself, in its order
    farthest_cents : how far a slider goes either way, or a nudge where one chooses; 0 where nothing moves
    """

    number: int
    of: int
    question: str
    form: str
    choices: tuple[str, ...]
    sounds: tuple[str, ...]
    moved_cents: float
    farthest_cents: float


class AfterView(Struct, frozen=True):
    """What was just answered: its sounds, each with what it was. last : nothing comes after it."""

    number: int
    of: int
    question: str
    sounds: tuple[str, ...]
    last: bool


class ResultView(Struct, frozen=True):
    """What the answers to one interval say."""

    interval: str
    trials: int
    result: str
    range: str


class PracticeView(Struct, frozen=True):
    """Something to practise, as it is asked for, and why."""

    interval: str
    register: str
    words: str


class EarsView(Struct, tag="ears", frozen=True):
    """Who answers, what is asked, and what has been answered.

    kept : how many of this person's answers are kept
    waiting : the sessions that can be taken up again, by their numbers, the last one first
    asked : None between sessions, and while what was answered is heard again, which is `after`
    said : of the last answer, "" without feedback and while the next is asked
    heard : which sound plays, -1 for all, None for silence
    next : what to practise, most urgent first
    """

    offered: Offered
    people: tuple[str, ...]
    person: str
    kept: int
    waiting: tuple[Named, ...]
    asked: AskedView | None
    after: AfterView | None
    said: str
    right: bool | None
    results: tuple[ResultView, ...]
    heard: int | None
    notice: str
    next: tuple[PracticeView, ...]


def nobody(offers: Offered, person: str) -> EarsView:
    """What is shown where the history cannot be used."""
    return EarsView(offers, (), person, 0, (), None, None, "", None, (), None, "", ())


class EarGraphs(Struct, tag="eargraphs", frozen=True):
    """What the answers say, drawn: those of the session at hand, and over the days, also in words."""

    session: tuple[Graph, ...]
    days: tuple[Graph, ...]
    words: tuple[str, ...]


class Clipped:
    """Sounds one after another, from their beginning for each who plays them."""

    def __init__(self, sounds: Sequence[TrialSound]) -> None:
        """Take the sounds; nothing is rendered yet."""
        self._sounds = sounds
        self._made: dict[int, Samples] = {}

    def prepare(self, sample_rate: int) -> None:
        """Render them, so that they can be played at once."""
        if sample_rate not in self._made:
            self._made[sample_rate] = one_after_another(self._sounds, sample_rate)

    def __call__(self, sample_rate: int) -> Source:
        """A clip of its own at that rate."""
        self.prepare(sample_rate)
        return Clip(self._made[sample_rate])


class Moving:
    """A held sound that the listener may move; each who plays it takes it up where it is."""

    def __init__(self, sound: TrialSound) -> None:
        """Take the sound."""
        self.sound = sound
        self._start = sound
        self._held: HeldSound | None = None
        self._ready: tuple[int, HeldSound] | None = None

    def prepare(self, sample_rate: int) -> None:
        """Make it, so that it can be played at once."""
        if self._ready is not None and self._ready[0] == sample_rate:
            return
        held = HeldSound(self._start, sample_rate)
        if self.sound is not self._start:
            held.move(self.sound)
        self._ready = sample_rate, held

    def __call__(self, sample_rate: int) -> Source:
        """A held sound of its own, which follows from now on."""
        self.prepare(sample_rate)
        assert self._ready is not None
        (_, self._held), self._ready = self._ready, None
        return self._held

    def move(self, sound: TrialSound) -> None:
        """Glide there at once."""
        self.sound = sound
        for held in (self._held, self._ready[1] if self._ready else None):
            if held is not None:
                held.move(sound)


Heard = Clipped | Moving


class Booked:
    """A trial and what is heard of it: `whole` at first, for match the one to be matched; `own` is moved."""

    def __init__(self, trial: Trial) -> None:
        """Nothing is rendered yet."""
        kind = trial.task.kind
        self.trial = trial
        self.own = Moving(trial.sounds[-1]) if kind in HELD else None
        self.first = Moving(trial.sounds[0]) if kind is TrialKind.MATCH else None
        self.whole: Heard = self.first or self.own or Clipped(trial.sounds)

    @property
    def adjusted(self) -> bool:
        """Whether the listener moves a sound."""
        return self.trial.task.kind in ADJUSTED

    @property
    def farthest_cents(self) -> float:
        """How far the listener can move the sound either way; 0 where he cannot."""
        return FARTHEST_CENTS if self.adjusted else self.trial.nudge_cents


class Training:
    """A person and the session under way; everything is told by `view`.

    heard : what shall sound now, None for silence
    muted : whether nothing of it is to be heard
    Whatever raises CannotWrite leaves it behind what is kept: close it, and make another.
    """

    def __init__(self, history: History) -> None:
        """Nobody answers yet."""
        self._history = history
        self._person = ""
        self._session: Session | None = None
        self._number = 0
        self._asked: Booked | None = None
        self._after: tuple[AnsweredSound, ...] = ()
        self._ahead: dict[tuple[int, float], Booked] = {}
        self._feedback = True
        self._last: Answered | None = None
        self._at: int | None = None
        self._told = ""
        self._begun = 0.0
        self._next_of: tuple[str, int, date] | None = None
        self._next_up: tuple[PracticeView, ...] = ()
        self._times_heard = 0
        self._sounded = False
        self.heard: Heard | None = None
        self.muted = False

    @property
    def person(self) -> str:
        """Who answers."""
        return self._person

    @property
    def asking(self) -> bool:
        """Whether a trial is open, or heard again."""
        return self._asked is not None or bool(self._after)

    def meet(self, person: str) -> None:
        """See to a person: by name, or for "" whoever answered last here, else who is logged in."""
        name = person.strip()
        if not name and not self._person:
            people = self._history.people()
            name = people[0] if len(people) == 1 else login_name()
        if name and name != self._person:
            self.pause()
            self._person, self._session, self._last, self._told = name, None, None, ""

    def begin(self, person: str, wish: Wish, feedback: bool) -> None:
        """Begin a session. Raises BadValue for a wish that does not fit together."""
        plan = plan_of(wish, secrets.randbelow(2**31))
        self.meet(person)
        self._take_up(self._history.begin(self._person, plan), feedback)

    def practise(self, person: str, interval: str, register: str, feedback: bool) -> None:
        """Begin some minutes of practice. Raises BadValue for what is no interval or no register."""
        self.meet(person)
        rows = self._history.rows(self._person)
        plan = practice_plan(interval, register, rows, secrets.randbelow(2**31))
        self._take_up(self._history.begin(self._person, plan), feedback)

    def go_on(self, person: str, session: int | None, feedback: bool) -> None:
        """Take up a session that was not finished, None for the last. Raises BadValue when there is none."""
        self.meet(person)
        self._take_up(self._history.to_go_on(self._person, session), feedback)

    def forget(self, person: str) -> None:
        """Delete all that is kept of a person. Raises BadValue when nothing is."""
        count = self._history.delete(person)
        if person == self._person:
            self.pause()
            self._session = self._last = None
        self._told = f"{count} {'answer' if count == 1 else 'answers'} from {person} deleted"

    def keep_reply(self, lesson: str, step: int, answer: float, right: bool) -> None:
        """Keep what was answered in a lesson."""
        self.meet(self._person)
        self._history.keep_reply(self._person, lesson, step, answer, right)

    def lessons(self) -> dict[str, str]:
        """How far the person came in each lesson that was begun."""
        return {one.lesson: reply_in_words(one) for one in self._history.lessons(self._person)}

    def as_csv(self) -> str:
        """Every answer of the person who answers, as a table."""
        return as_csv(self._history.rows(self._person))

    def pause(self) -> None:
        """Fall silent; what is not answered waits."""
        self._asked = self.heard = self._at = None
        self._after, self._ahead = (), {}

    def hush(self) -> None:
        """Fall silent, and stay at the question."""
        self.heard = self._at = None

    def hear(self, at: int = ALL) -> None:
        """Sound the whole trial again, or one of its sounds; once answered, what it was."""
        if self._after:
            self._hear_after(at)
            return
        booked = self._open()
        sounds = booked.trial.sounds
        if not ALL <= at < len(sounds):
            raise BadValue("this trial does not have that sound")
        self._at = at
        self._times_heard += 1
        self._sounded = self._sounded or not self.muted
        if at == ALL:
            self.heard = booked.whole
        elif booked.own is None:
            self.heard = Clipped(sounds[at : at + 1])
        else:
            self.heard = booked.first if at == 0 and booked.first else booked.own

    def look_ahead(self, sample_rate: int) -> None:
        """Render what can come after the next answer, while the listener still listens."""
        if self._session is None or self._session.finished or self._ahead:
            return
        if self._session.plan.task.kind is TrialKind.RATE:
            tapped_rate((0.0, 1.0, 2.0))  # what it imports is there before the first answer needs it
        for trial in self._session.could_come() if self._asked else (self._session.next_trial(),):
            booked = Booked(trial)
            booked.whole.prepare(sample_rate)
            self._ahead[trial.seed, trial.level_cents] = booked

    def move(self, moved_cents: float) -> None:
        """Move the sound that is adjusted, so far from where it started; it is heard."""
        own, start = self._movable()
        if not isfinite(moved_cents):
            raise BadValue("the slider needs a finite number of cents")
        farthest = self._open().farthest_cents
        limited = min(max(moved_cents, -farthest), farthest)
        own.move(own.sound.with_error(start + limited))
        if self.heard is not own:
            self._at, self.heard = len(self._open().trial.sounds) - 1, own

    def settle(self, number: int, moved_cents: float) -> None:
        """Answer with the sound where it is now."""
        if self._is_asked(number):
            if not self._open().adjusted:
                raise BadValue(_NOTHING_TO_ADJUST)
            self.move(moved_cents)
            sound = self._movable()[0].sound
            self._answer(
                abs(sound.rate) if self._open().trial.task.kind is TrialKind.MATCH else sound.error_cents
            )

    def tapped(self, number: int, times_ms: Sequence[float]) -> None:
        """Answer with the rate of taps. Raises BadValue for too few of them."""
        if self._is_asked(number):
            if self._open().trial.task.kind is not TrialKind.RATE:
                raise BadValue("this trial is not for tapping")
            self._answer(tapped_rate([at / 1000 for at in times_ms]).value)

    def choose(self, number: int, choice: int) -> None:
        """Answer with a choice. Raises BadValue for one that there is not."""
        if self._is_asked(number):
            if not self._open().trial.choices:
                raise BadValue("this trial has no choices to answer with")
            self._answer(float(choice))

    def view(self, offers: Offered) -> EarsView:
        """What the page shows."""
        session = self._session
        last = self._last if self._feedback and self._asked is None else None
        return EarsView(
            offered=offers,
            people=self._history.people(),
            person=self._person,
            kept=0 if self.asking else self._history.count(self._person),
            waiting=() if self.asking else self._waiting(),
            asked=self._asked_view(),
            after=self._after_view(),
            said=describe(last) if last else "",
            right=last.judged.right if last else None,
            results=() if session is None or self.asking else _results(session),
            heard=self._at,
            notice=self._told or self._history.notice or self._unreadable(),
            next=() if self.asking or not self._person else self._next(),
        )

    def _next(self) -> tuple[PracticeView, ...]:
        """Worked out again only when an answer, or a day, has gone by."""
        today = datetime.now().astimezone().date()
        known = (self._person, self._history.count(self._person), today)
        if self._next_of != known:
            following = next_up(self._history.rows(self._person), today)[:_MOST_NEXT]
            self._next_up = tuple(
                PracticeView(one.interval, one.register, practice_in_words(one)) for one in following
            )
            self._next_of = known
        return self._next_up

    def _unreadable(self) -> str:
        """How many answers of the person cannot be read; "" for none, and while trials are asked."""
        count = 0 if self.asking or not self._person else self._history.unreadable(self._person)
        return f"{count} of {self._person}'s answers cannot be read; they stay in the file" if count else ""

    def graphs(self) -> EarGraphs:
        """The function of the session at hand, and progress over the days."""
        if self.asking or not self._person:
            return EarGraphs((), (), ())
        of_session = () if self._session is None else heard_at(self._session)
        rows = self._history.rows(self._person)
        followed = trends(rows)
        words = (*map(trend_in_words, followed), *filter(None, [by_eye_in_words(rows)]))
        return EarGraphs(of_session, over_days(rows, followed), words)

    def close(self) -> None:
        """Close the history."""
        self._history.close()

    def _waiting(self) -> tuple[Named, ...]:
        waiting = self._history.unfinished(self._person)
        return tuple(Named(str(one.session), waiting_in_words(one)) for one in waiting)

    def _take_up(self, number: int, feedback: bool) -> None:
        self._number, self._session = number, self._history.session(number)
        self._feedback, self._last, self._told, self._after = feedback, None, "", ()
        self._ask()

    def _ask(self) -> None:
        assert self._session is not None
        if self._session.finished:
            self.pause()
            return
        trial = self._session.next_trial()
        self._asked = self._ahead.get((trial.seed, trial.level_cents)) or Booked(trial)
        self._ahead = {}
        self._begun, self._times_heard, self._sounded = time.monotonic(), 0, False
        self.hear(0 if self._asked.first else ALL)

    def _answer(self, answer: float) -> None:
        session = self._session
        assert session is not None
        count = len(session.answered)
        made = session.answer(answer)
        taken_seconds = time.monotonic() - self._begun
        hearing = TrialHearing(taken_seconds, max(self._times_heard - 1, 0), by_ear=self._sounded)
        self._history.keep(self._number, count, made, hearing)
        self._last = made
        if not self._feedback:
            self._ask()
            return
        self._asked, self._after = None, to_hear(made)
        self._hear_after(ALL)

    def go_to_next(self) -> None:
        """Go on from what was answered. Does nothing where nothing was: a second touch in haste is none."""
        if self._after:
            self._after = ()
            self._ask()

    def _hear_after(self, at: int) -> None:
        sounds = tuple(one.sound for one in self._after)
        if not ALL <= at < len(sounds):
            raise BadValue("this trial does not have that sound")
        self._at, self.heard = at, Clipped(sounds if at == ALL else sounds[at : at + 1])

    def _is_asked(self, number: int) -> bool:
        """Whether an answer is to the trial that is open: a second touch in haste is none."""
        if self._after:
            return False
        self._open()
        return self._session is not None and number == len(self._session.answered)

    def _open(self) -> Booked:
        if self._asked is None:
            raise BadValue("no trial is open; begin one, or continue")
        return self._asked

    def _movable(self) -> tuple[Moving, float]:
        booked = self._open()
        if booked.own is None or not booked.farthest_cents:
            raise BadValue(_NOTHING_TO_ADJUST)
        return booked.own, booked.trial.sounds[-1].error_cents

    def _asked_view(self) -> AskedView | None:
        booked, session = self._asked, self._session
        if booked is None or session is None:
            return None
        trial, moved = booked.trial, 0.0
        if booked.own is not None:
            moved = booked.own.sound.error_cents - trial.sounds[-1].error_cents
        return AskedView(
            number=len(session.answered),
            of=session.plan.trials,
            question=trial.question,
            form="choose" if trial.choices else "slide" if booked.adjusted else "tap",
            choices=trial.choices,
            sounds=_SOUNDS.get(trial.task.kind, ()),
            moved_cents=round(moved, 3) + 0.0,
            farthest_cents=booked.farthest_cents,
        )

    def _after_view(self) -> AfterView | None:
        session, last = self._session, self._last
        if not self._after or session is None or last is None:
            return None
        words = tuple(one.words for one in self._after)
        return AfterView(
            len(session.answered) - 1, session.plan.trials, last.trial.question, words, session.finished
        )


_SOUNDS: Final = {
    TrialKind.PURER: ("the first", "the second"),
    TrialKind.OWN: ("the first", "the second"),
    TrialKind.MATCH: ("the first", "the second"),
    TrialKind.ABX: ("A", "B", "X"),
}


def _results(session: Session) -> tuple[ResultView, ...]:
    kind = session.plan.task.kind
    return tuple(
        ResultView(chord_name(result.chord), result.trials, *result_in_words(result, kind))
        for result in session.results()
    )
