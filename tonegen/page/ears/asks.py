"""What pages ask about trials and lessons."""

from typing import Annotated, Final

from msgspec import Meta

from tonegen.ear.session import Method
from tonegen.ear.trials import Bed, TrialKind
from tonegen.page.asked import Asked, Name


class ShowEars(Asked, tag="ears", frozen=True):
    """Show who answers trials here, and what that person has answered; "" for whoever did last."""

    person: Name = ""


class Train(Asked, frozen=True):
    """Begin trials of a kind; what is left out stays as is usual.

    intervals : as they are written, 5:4,3:2; grip : a grip of the instrument instead, "" as it is set now
    register : two notes; timbre : one of those that are listed; cents : the errors, one number or more
    seconds : how long a sound lasts
    """

    kind: TrialKind
    person: Name = ""
    intervals: Name = ""
    grip: Name | None = None
    register: Name = ""
    timbre: Name = ""
    bed: Bed = Bed.NONE
    seconds: float | None = None
    trials: int | None = None
    method: Method | None = None
    cents: Name = ""
    feedback: bool = True


class GoOn(Asked, frozen=True):
    """Take up the trials that were not finished: the last, or the session of that number."""

    person: Name = ""
    session: int | None = None
    feedback: bool = True


class Practise(Asked, frozen=True):
    """Begin some minutes of practice: intervals as they are written, and a register of two notes."""

    interval: Name
    register: Name
    person: Name = ""
    feedback: bool = True


class MatchRecording(Asked, frozen=True):
    """Bring a tone to the partner's note that was sent last, which goes by that name."""

    name: Name
    person: Name = ""


class Forget(Asked, frozen=True):
    """Delete every answer of a person."""

    person: Name


class Pause(Asked, frozen=True):
    """Stop asking; what is not answered waits."""


class Hear(Asked, frozen=True):
    """Hear a trial again, or one of its sounds; -1 is all of them."""

    at: Annotated[int, Meta(ge=-1, le=8)] = -1


class NextTrial(Asked, tag="nexttrial", frozen=True):
    """Go on from what was answered to what comes next."""


class ChooseAnswer(Asked, tag="answer", frozen=True):
    """Answer the trial of that number with a choice."""

    number: int
    choice: Annotated[int, Meta(ge=0, le=100)]


class Taps(Asked, frozen=True):
    """Answer the trial of that number, or a lesson's question, with taps on its beats, by when they came."""

    number: int
    times_ms: Annotated[tuple[float, ...], Meta(max_length=400)]


class Move(Asked, frozen=True):
    """Move the sound that is adjusted, in a trial or a lesson, so far from where it started."""

    cents: float


class Settle(Asked, frozen=True):
    """Answer the trial of that number, or the lesson's question: the sound is right where it is."""

    number: int
    cents: float


class OpenLesson(Asked, tag="lesson", frozen=True):
    """Open a step of a lesson."""

    name: Name
    step: Annotated[int, Meta(ge=0, le=100)] = 0


class Demonstrate(Asked, frozen=True):
    """Hear a sound of the step that is open."""

    at: Annotated[int, Meta(ge=0, le=100)]


class Reply(Asked, frozen=True):
    """Answer the question of the step that is open, by its place among the answers, or a count of beats."""

    at: Annotated[int, Meta(ge=0, le=10_000)]


EVERY: Final = (
    ShowEars, Train, GoOn, Practise, Forget, Pause, Hear, NextTrial, ChooseAnswer, Taps, Move, Settle,
    OpenLesson, Demonstrate, Reply, MatchRecording,
)  # fmt: skip
