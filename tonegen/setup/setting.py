"""What is set, by the names of presets, and what hands and feet hold: frozen records.

The command line fills them from its options, the page keeps them in its file. Offsets are cents from equal
temperament; a travel runs from 0 (at rest) to 1 (at its stop).
"""

from typing import Annotated

from msgspec import Meta, Struct
from msgspec.structs import force_setattr

from tonegen.drop import NO_DROP
from tonegen.errors import BadValue
from tonegen.frozen import read_only
from tonegen.instrument import Instrument, TuningPoint
from tonegen.pitch import REFERENCE_HZ
from tonegen.temperament import EQUAL

# What a kept file may hold; a value outside is as unreadable as one of another type.
StringNumber = Annotated[int, Meta(ge=1, le=64)]
PitchClass = Annotated[int, Meta(ge=0, le=11)]
Cents = Annotated[float, Meta(ge=-1200, le=1200)]
Travel = Annotated[float, Meta(ge=0, le=1)]


class Record(Struct, frozen=True):
    """What has mappings in it and stays as it was made."""

    def __post_init__(self) -> None:
        """Make the mappings read-only."""
        for name in self.__struct_fields__:
            force_setattr(self, name, read_only(getattr(self, name)))


class MovedPoint(Struct, frozen=True, forbid_unknown_fields=True):
    """A tuning point that the player moved by hand, with the offset given to it."""

    string: StringNumber
    changes: tuple[str, ...]
    offset_cents: Cents
    travel: Travel = 1.0

    @classmethod
    def of(cls, point: TuningPoint, offset_cents: float) -> "MovedPoint":
        """A tuning point at an offset, to a ten thousandth of a cent."""
        return cls(point.string, point.changes, round(offset_cents, 4) + 0.0, point.travel)

    @property
    def point(self) -> TuningPoint:
        """The tuning point that was moved."""
        return TuningPoint(self.string, self.changes, self.travel)


class SavedGrip(Record, frozen=True, forbid_unknown_fields=True):
    """A grip that the player saved: its strings, and how far each change is engaged."""

    name: str
    strings: tuple[StringNumber, ...]
    travels: dict[str, Travel]


class Song(Struct, frozen=True, forbid_unknown_fields=True):
    """A song of the set list; its key is a pitch class, of a minor scale or not."""

    name: str
    key: PitchClass
    minor: bool = False


class Setup(Record, frozen=True, forbid_unknown_fields=True):
    """What is chosen. `root` is a pitch class, None for the instrument's own; `against` a note or Hz, or "".

    instrument : "" for none: the temperament alone, as keyboards have it
    moved : tuning points that were moved by hand; grips : saved by the player beside the instrument's own
    songs : the set list, in its order
    """

    instrument: str = ""
    temperament: str = EQUAL.name
    root: PitchClass | None = None
    drop: str = NO_DROP.name
    reference_hz: float = REFERENCE_HZ
    timbre: str = "harmonic"
    against: str = ""
    moved: tuple[MovedPoint, ...] = ()
    grips: tuple[SavedGrip, ...] = ()
    songs: tuple[Song, ...] = ()


class Hands(Record, frozen=True, forbid_unknown_fields=True):
    """What hands and feet do. `song` is the one whose key the bar was brought to last."""

    travels: dict[str, Travel] = {}
    strings: tuple[StringNumber, ...] = ()
    fret: Annotated[float, Meta(ge=0, le=48)] = 0.0
    song: str = ""


def song_of(songs: tuple[Song, ...], name: str) -> Song:
    """A song of the set list. Raises BadValue naming those that there are.

    >>> song_of((Song("Invented Waltz", 7),), "Polka")
    Traceback (most recent call last):
    tonegen.errors.BadValue: there is no song "Polka"; there are: Invented Waltz
    """
    for song in songs:
        if song.name == name:
            return song
    known = ", ".join(song.name for song in songs) or "none yet"
    raise BadValue(f'there is no song "{name[:60]}"; there are: {known}')


def song_now(instrument: Instrument, songs: tuple[Song, ...], hands: Hands) -> str:
    """The song that the bar was brought to and still stands in the key of; "" for none."""
    for song in songs:
        if song.name == hands.song and instrument.fret_of_key(song.key) == hands.fret:
            return song.name
    return ""
