"""The part of the page that says what could not be read, until the player goes on without it."""

from collections.abc import Iterable
from typing import ClassVar

from msgspec import Struct

from tonegen.page.asked import Asked
from tonegen.page.notices import asks
from tonegen.page.part import Act, Done, Host, Part, Standing
from tonegen.setup.rig import RigFault


class Notices(Struct, tag="notices", frozen=True):
    """What could not be read, a line each; `undecided` until the player goes on with what is shown."""

    lines: tuple[str, ...]
    undecided: bool


class NoticesPart(Part):
    """What was said of the kept file, and the faults of the rig as it is."""

    def __init__(self, host: Host) -> None:
        """Nothing is amiss."""
        super().__init__(host)
        self._said: tuple[str, ...] = ()
        self._file_undecided = False
        self._decided: frozenset[tuple[object, ...]] = frozenset()
        self._shown: Notices | None = None

    def begin(self, said: tuple[str, ...], undecided: bool) -> None:
        """Take over what there is to say about what was kept."""
        self._said, self._file_undecided = said, undecided

    @property
    def undecided(self) -> bool:
        """Whether something could not be read, and the player has not yet gone on without it."""
        return self._file_undecided or any(
            _known_by(fault) not in self._decided for fault in self.host.at.faults
        )

    def shown(self) -> Iterable[Struct]:
        """All that is amiss."""
        return (self._view(),)

    def follow(self, at: Standing) -> None:
        """Say so where it changed."""
        before, self._shown = self._shown, self._view()
        if self._shown != before:
            self.host.post(self._shown)

    def _view(self) -> Notices:
        faults = (fault.words for fault in self.host.at.faults)
        return Notices((*self._said, *faults), self.undecided)

    def _decide(self, asked: asks.Decide) -> None:
        """Write what is shown in the place of what could not be read; what is said of that is done with."""
        at = self.host.at
        self._file_undecided, self._said = False, ()
        self._decided |= {_known_by(fault) for fault in at.faults}
        self.host.accept(Done(at.setting, at.playing))

    acts: ClassVar[dict[type[Asked], Act]] = {asks.Decide: _decide}


def _known_by(fault: RigFault) -> tuple[object, ...]:
    return (fault.part, *fault.asked)
