"""The part of the page that shows two temperaments side by side."""

from collections.abc import Iterable
from typing import ClassVar

from msgspec import Struct
from msgspec.structs import replace

from tonegen.page.asked import Asked
from tonegen.page.compare import asks
from tonegen.page.compare.comparing import NOW, Comparison, compare
from tonegen.page.part import Change, Done, Host, Part, Standing


def between(asked: asks.Compare, at: Standing) -> Done:
    """Show these two, or put them away."""
    if asked.between is None:
        return at.sets("comparison closed", compared=None)
    compare(replace(at.setting, compared=asked.between), at.rig)  # says so where one of them does not fit
    return at.sets(f"{' and '.join(name or NOW for name in asked.between)} compared", compared=asked.between)


class ComparePart(Part):
    """What is compared follows everything that is set."""

    changes: ClassVar[dict[type[Asked], Change]] = {asks.Compare: between}

    def __init__(self, host: Host) -> None:
        """Nothing is compared yet."""
        super().__init__(host)
        self._comparison = Comparison(host.post)

    def shown(self) -> Iterable[Struct]:
        """Both sides, as far as they are worked out."""
        at = self.host.at
        self._comparison.follow(at.setting, at.rig)
        return (self._comparison.view(),)

    def follow_later(self, at: Standing) -> None:
        """Work both out again."""
        self._comparison.follow(at.setting, at.rig)
