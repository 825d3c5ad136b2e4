"""What a tuning says, as data.

Conventions: notes stand as players write them, from the lowest string. An *offset* is cents from equal
temperament. A *wish* is one pair of notes that should lie a certain way apart; its weight says how much.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple

from tonegen.interval import Ratio

ROOT_AT_EQUAL: Final = "root"


class Rule(StrEnum):
    """How the offsets of a tuning follow from what is published."""

    CHORD = "chord"
    SHAPES = "shapes"
    FIFTHS = "fifths"
    SERIES = "series"
    SCALE = "scale"
    VALVES = "valves"
    CIRCLE = "circle"

    @property
    def words(self) -> str:
        """What the rule does, in words."""
        return _RULES[self]


_RULES: Final = {
    Rule.CHORD: "all strings as one chord, thirds to sixths as pure as they can be, octaves before them",
    Rule.SHAPES: "chord shapes on equal-tempered frets, which do not move: only the open strings do",
    Rule.FIFTHS: "pure fifths, fourths and octaves from one string to the next",
    Rule.SERIES: "the natural harmonics of one tube or string",
    Rule.SCALE: "just ratios above one note",
    Rule.VALVES: "each valve adds its tube, and lengths add, not cents",
    Rule.CIRCLE: "fifths narrowed or widened by fractions of a comma",
}


class TuningNote(NamedTuple):
    """A string by its note, a note of a scale, a partial by its number or valves by theirs.

    key : what it stands for at equal temperament.
    """

    name: str
    key: int


class WishedInterval(NamedTuple):
    """Two notes, by their places, and how far apart they should be.

    cents : how much further than in equal temperament the high one should lie above the low one.
    ratio : what the interval stands for; None where no two tones sound together.
    frets : where the two strings are stopped, in a shape. chord : the name of that shape.
    """

    low: int
    high: int
    cents: float
    weight: float = 1.0
    ratio: Ratio | None = None
    chord: str = ""
    frets: tuple[int, int] = (0, 0)


@dataclass(frozen=True, slots=True)
class PublishedOffset:
    """A value that a source prints, and half of its last digit."""

    note: str
    cents: float
    within_cents: float


@dataclass(frozen=True, slots=True)
class StoredTuning:
    """A stored tuning: its notes, and what each rule wishes between them.

    root : the place of the note that stands at equal unless the player says otherwise.
    strings : whether the notes are strings, so that it can be an instrument.
    published_anchor : which note the published values take for 0, "" for the root.
    loose : why some of them are further off than their rounding.
    """

    name: str
    family: str
    title: str
    rule: Rule
    notes: tuple[TuningNote, ...]
    wishes: tuple[WishedInterval, ...]
    root: int
    source: str
    strings: bool = False
    flats: bool = False
    published: tuple[PublishedOffset, ...] = ()
    published_anchor: str = ""
    loose: str = ""

    @property
    def written(self) -> str:
        """Its notes as players write them."""
        return " ".join(note.name for note in self.notes)

    def number(self, place: int) -> int:
        """The number of the string at a place: 1 is the last, the highest course.

        >>> from tonegen.tunings.rules import chord
        >>> notes = tuple(TuningNote(name, key) for name, key in (("D3", 50), ("A3", 57)))
        >>> StoredTuning("fifth", "", "", Rule.CHORD, notes, chord([50, 57]), 0, "", True).number(0)
        2
        """
        return len(self.notes) - place

    def called(self, place: int) -> str:
        """A note in words."""
        name = self.notes[place].name
        match self.rule:
            case Rule.SERIES:
                return f"partial {name}"
            case Rule.VALVES:
                return f"valve{'s' if '+' in name else ''} {name}" if name[0].isdigit() else name
        return f"string {self.number(place)}, {name}" if self.strings else name

    def places(self, pitch_class: int) -> Iterator[int]:
        """Where a pitch class is found, from the lowest note."""
        found = (place for place, note in enumerate(self.notes) if note.key % 12 == pitch_class)
        return iter(sorted(found, key=lambda place: (self.notes[place].key, place)))
