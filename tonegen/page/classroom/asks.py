"""What the teacher's page asks about a class, and what a phone in it says."""

from typing import Annotated, Final

from msgspec import Meta

from tonegen.ear.trials import TrialKind
from tonegen.page.asked import Asked, Name
from tonegen.page.ears.asks import OpenLesson, Reply, Settle, Taps

Listener = Annotated[str, Meta(pattern="^[A-Za-z0-9-]{16,64}$")]


class StartClass(Asked, frozen=True):
    """Let phones in by a link. names : whether each says who it is; on_phones : it sounds there."""

    names: bool = False
    on_phones: bool = False


class TrainClass(Asked, frozen=True):
    """Ask all phones one question of a kind that is answered by choice; what is left out is as usual."""

    kind: TrialKind
    intervals: Name = ""
    cents: Annotated[float, Meta(ge=0.1, le=64)] | None = None


class LessonQuestion(Asked, frozen=True):
    """Ask all phones the question of a step of a lesson, where that is answered by choice."""

    lesson: Name
    step: Annotated[int, Meta(ge=0, le=100)]


class ShareLesson(Asked, frozen=True):
    """Give every phone a lesson, which each goes through by itself; the same again goes on with it."""

    lesson: Name


class HearClass(Asked, frozen=True):
    """Sound the question again."""


class ShowAnswer(Asked, frozen=True):
    """Show everybody what was answered, and what was right."""


class StopClass(Asked, frozen=True):
    """End the class: its link lets nobody in any more, and its answers are gone."""


class ListenersName(Asked, tag="name", frozen=True):
    """A phone says by which number it is known, always the same, and who holds it."""

    listener: Listener
    name: Annotated[str, Meta(max_length=40)] = ""


class ListenersChoice(Asked, tag="choose", frozen=True):
    """A phone answers the question of that number; until answers are shown it may choose again."""

    number: int
    choice: Annotated[int, Meta(ge=0, le=100)]


# A phone goes through a lesson as the page does.
InLesson = OpenLesson | Reply | Taps | Settle
FromPhone = ListenersName | ListenersChoice | InLesson

EVERY: Final = (StartClass, TrainClass, LessonQuestion, ShareLesson, HearClass, ShowAnswer, StopClass)
