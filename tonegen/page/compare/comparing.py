"""Two temperaments side by side over the grips that tempering asks for, at a page."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from msgspec import Struct
from msgspec.structs import replace

from tonegen.errors import TonegenError
from tonegen.instrument import Instrument
from tonegen.page import shelf
from tonegen.page.newest import Newest
from tonegen.page.setting import Setting
from tonegen.page.temper.tempering import asked_of, names_of, scene_of
from tonegen.setup.rig import Rig, rig_of
from tonegen.tempering.scene import Scene
from tonegen.words import rate_and_side, signed

if TYPE_CHECKING:
    from tonegen.tempering.purity import GripPurity, IntervalPurity, Purity

NOW: Final = "as it is now"


class Side(Struct, frozen=True):
    """An interval in one of the two."""

    cents: str
    rate: str
    beats_per_second: float


class IntervalSides(Struct, frozen=True):
    """One interval in both."""

    names: str
    ratio: str
    sides: tuple[Side, Side]


class GripSides(Struct, frozen=True):
    """One grip in both, each by its fastest beat; `slower` is the place of the calmer one, -1 for neither."""

    name: str
    rates: tuple[str, str]
    slower: int
    intervals: tuple[IntervalSides, ...]


class PointSides(Struct, frozen=True):
    """The offset of a tuning point in both, and how far apart they are."""

    point: str
    offsets: tuple[str, str]
    apart: str


class Compared(Struct, tag="compared", frozen=True):
    """Both, over a scene; `words` say why they cannot be compared."""

    between: tuple[str, str] | None = None
    names: tuple[str, str] = ("", "")
    over: str = ""
    grips: tuple[GripSides, ...] = ()
    points: tuple[PointSides, ...] = ()
    words: str = ""


class Comparison:
    """What is compared at present. show : takes the view when it is worked out."""

    def __init__(self, show: Callable[[Compared], None]) -> None:
        """Nothing is compared."""
        self._asked: tuple[Setting, Rig] | None = None
        self._compared: Newest[tuple[Setting, Rig], Compared] = Newest(_compared_or_why_not, show)

    def follow(self, setting: Setting, rig: Rig) -> None:
        """Compare as this setting asks, if it is another one."""
        before, self._asked = self._asked, (setting, rig)
        nothing = setting.compared is None and (before is None or before[0].compared is None)
        if not nothing and (before is None or setting != before[0] or rig is not before[1]):
            self._compared.want(self._asked)

    def view(self) -> Compared:
        """What pages show."""
        return self._compared.found or Compared()


def compare(setting: Setting, rig: Rig) -> Compared:
    """Both sides, over the grips that are asked for; over every grip where none is.

    Raises BadPreset for a temperament that is not there, BadValue for one of another instrument.
    """
    if setting.compared is None:
        return Compared()
    import numpy as np

    from tonegen.tempering.demands import demands_of
    from tonegen.tempering.purity import purity_of

    sides = [
        rig_of(replace(setting, temperament=name, moved=()), shelf).temperament if name else rig.temperament
        for name in setting.compared
    ]
    scene = _scene(setting, rig)
    demands, instrument = demands_of(scene), rig.instrument
    first, second = (
        np.array([side.offset_cents(instrument, point) for point in demands.points]) for side in sides
    )
    return Compared(
        setting.compared,
        (setting.compared[0] or NOW, setting.compared[1] or NOW),
        f"{scene.title or scene.name}; with the strings' own stiffness",
        tuple(_grip(grip, instrument) for grip in purity_of(demands, first, second)),
        tuple(
            PointSides(
                f"{point}, {instrument.note(point)}",
                (signed(one, 1), signed(other, 1)),
                signed(other - one, 1),
            )
            for point, one, other in zip(demands.points, first, second, strict=True)
        ),
    )


def _compared_or_why_not(asked: tuple[Setting, Rig]) -> Compared:
    setting, rig = asked
    try:
        return compare(setting, rig)
    except TonegenError as error:
        return Compared(setting.compared, words=str(error))


def _scene(setting: Setting, rig: Rig) -> Scene:
    """The scene of tempering; every grip when none is chosen."""
    wanted = asked_of(setting, rig).wanted
    if not any(one.weight for one in wanted):
        setting = replace(setting, weights={one.name: 1.0 for one in wanted})
    return scene_of(setting, rig)


def _grip(grip: "GripPurity", instrument: Instrument) -> GripSides:
    from tonegen.tempering.purity import worst_of

    intervals = tuple(_interval(grip, *pair, instrument) for pair in grip.pairs(by_cents=False))
    first = _side(worst_of(grip.intervals, lambda each: each.before, by_cents=False).before)
    second = _side(worst_of(grip.intervals, lambda each: each.after, by_cents=False).after)
    slower = -1
    if first.rate != second.rate:
        slower = int(abs(second.beats_per_second) < abs(first.beats_per_second))
    return GripSides(grip.wanted.grip.name, (first.rate, second.rate), slower, intervals)


def _interval(
    grip: "GripPurity", was: "IntervalPurity", now: "IntervalPurity", instrument: Instrument
) -> IntervalSides:
    return IntervalSides(
        names_of(grip, was, now, instrument),
        f"{now.ratio} {now.ratio.name}".rstrip(),
        (_side(was.before), _side(now.after)),
    )


def _side(purity: "Purity") -> Side:
    rate = rate_and_side(purity.beats_per_second)
    return Side(signed(purity.cents_from_just, 1), rate, purity.beats_per_second)
