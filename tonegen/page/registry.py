"""The parts of the page, a line each.

What sounds is the voice of the first that has one; the grip's is always there.
"""

from functools import reduce
from operator import or_
from typing import Final

from tonegen.page.asked import Asked
from tonegen.page.classroom.part import ClassPart
from tonegen.page.compare.part import ComparePart
from tonegen.page.count.part import CountPart
from tonegen.page.drop.part import DropPart
from tonegen.page.ears.part import EarsPart
from tonegen.page.evening.part import EveningPart
from tonegen.page.foot.part import FootPart
from tonegen.page.hearing.part import HearingPart
from tonegen.page.keys.part import KeysPart
from tonegen.page.measure.part import HearReceiverPart
from tonegen.page.notices.part import NoticesPart
from tonegen.page.order.part import OrderPart
from tonegen.page.own.part import OwnPart
from tonegen.page.part import Part
from tonegen.page.play.part import PlayPart
from tonegen.page.remote.part import RemotePart
from tonegen.page.sound.part import SoundPart
from tonegen.page.temper.part import TemperPart
from tonegen.page.tones.part import TonesPart
from tonegen.page.tunings.part import TuningsPart

PARTS: Final[tuple[type[Part], ...]] = (
    OrderPart,
    TuningsPart,
    TonesPart,
    PlayPart,
    NoticesPart,
    SoundPart,
    CountPart,
    TemperPart,
    ComparePart,
    DropPart,
    HearingPart,
    EveningPart,
    OwnPart,
    KeysPart,
    HearReceiverPart,
    RemotePart,
    FootPart,
    EarsPart,
    ClassPart,
)


def everything_asked(*more: type[Asked]) -> type[Asked]:
    """The union of all that can be asked of any part, and of these: what a page's messages are read as."""
    return reduce(or_, (*more, *(asked for part in PARTS for asked in (*part.changes, *part.acts))))
