"""A partner's recorded note on the page: a tone is brought to it, some times over."""

from math import isfinite
from secrets import SystemRandom
from typing import Final

from tonegen.ear.partner import NoteTogether, RecordingNote, is_there, start_cents
from tonegen.ear.rendering import Source
from tonegen.errors import BadValue
from tonegen.page.ears.training import FARTHEST_CENTS, AfterView, AskedView
from tonegen.words import many

_TIMES: Final = 5
_QUESTION: Final = "Bring the tone to the note."


class MovedTone:
    """The note over and over and a tone beside it; each who plays it takes it up where it is."""

    def __init__(self, note: RecordingNote, start: float) -> None:
        """Nothing is rendered yet."""
        self._note, self.start_cents = note, start
        self.moved_cents = 0.0
        self._playing: NoteTogether | None = None
        self._ready: tuple[int, NoteTogether] | None = None

    def prepare(self, sample_rate: int) -> None:
        """Make it, so that it can be played at once."""
        if self._ready is None or self._ready[0] != sample_rate:
            self._ready = sample_rate, NoteTogether(self._note, self.start_cents, sample_rate)

    def __call__(self, sample_rate: int) -> Source:
        """A source of its own, which follows from now on."""
        self.prepare(sample_rate)
        assert self._ready is not None
        (_, self._playing), self._ready = self._ready, None
        self._playing.move(self.moved_cents)
        return self._playing

    def move(self, cents: float) -> None:
        """Glide so far from where it started."""
        self.moved_cents = cents
        if self._playing is not None:
            self._playing.move(cents)


class NoteMatch:
    """What is asked now, what was answered, and what is heard.

    heard : what shall sound now, None for silence
    """

    def __init__(self, note: RecordingNote, name: str) -> None:
        """Ask for the first time."""
        self.lesson = f"match {name}"
        self._note = note
        self._draw = SystemRandom()
        self._number, self._right = 0, 0
        self._off_cents: float | None = None
        self._tone = self._begun()
        self.heard: MovedTone | None = self._tone

    def _begun(self) -> MovedTone:
        return MovedTone(self._note, start_cents(self._draw))

    @property
    def asking(self) -> bool:
        """Whether it is still to be brought there, or was just."""
        return self._number < _TIMES

    def hush(self) -> None:
        """Fall silent, and stay at the question."""
        self.heard = None

    def hear(self) -> None:
        """Sound again: where the tone is, or, once answered, in tune."""
        self.heard = self._tone

    def move(self, cents: float) -> None:
        """Move the tone so far from where it started; it is heard. Raises BadValue for no number."""
        if self._off_cents is not None:
            return
        if not isfinite(cents):
            raise BadValue("the slider needs a finite number of cents")
        self._tone.move(min(max(cents, -FARTHEST_CENTS), FARTHEST_CENTS))
        self.hear()

    def settle(self, number: int, cents: float) -> tuple[str, int, float, bool] | None:
        """Answer with the tone where it is: what of it is to be kept; None for a touch in haste."""
        if number != self._number or self._off_cents is not None:
            return None
        self.move(cents)
        off = self._off_cents = self._tone.start_cents + self._tone.moved_cents
        self._right += is_there(off)
        self._tone.move(-self._tone.start_cents)  # and so it is when nothing beats
        return self.lesson, number, off, is_there(off)

    def go_on(self) -> None:
        """On from what was answered."""
        if self._off_cents is None:
            return
        self._number, self._off_cents = self._number + 1, None
        self._tone = self._begun()
        self.heard = self._tone if self.asking else None

    def asked(self) -> AskedView | None:
        """What the page asks."""
        if self._off_cents is not None or not self.asking:
            return None
        moved = round(self._tone.moved_cents, 3) + 0.0
        return AskedView(self._number, _TIMES, _QUESTION, "slide", (), (), moved, FARTHEST_CENTS)

    def after(self) -> AfterView | None:
        """What was just answered."""
        if self._off_cents is None:
            return None
        return AfterView(self._number, _TIMES, _QUESTION, ("in tune",), self._number + 1 == _TIMES)

    @property
    def said(self) -> str:
        """How near it came, once answered."""
        return "" if self._off_cents is None else self._note.said_of(self._off_cents)

    @property
    def right(self) -> bool | None:
        """Whether that was near enough."""
        return None if self._off_cents is None else is_there(self._off_cents)

    @property
    def notice(self) -> str:
        """What became of it, once all is answered."""
        times = many(_TIMES, "time")
        return "" if self.asking else f"{self.lesson}: within 3 cents {self._right} of {times}"
