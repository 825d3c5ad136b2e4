"""The library of tunings in the words of the page."""

from msgspec import Struct

from tonegen.errors import BadValue
from tonegen.pitch import hz_from_key, parse_pitch
from tonegen.presets.tunings import tunings
from tonegen.setup.rig import Rig
from tonegen.sounding import Sounding, sound, tone_as_written, tones_to_play
from tonegen.synthesis.timbre import Tone
from tonegen.tunings.explain import explained
from tonegen.tunings.records import Rule, StoredTuning
from tonegen.tunings.search import FoundTuning, found_by_strings, has_words, parse_strings
from tonegen.tunings.solve import SolvedTuning, solved
from tonegen.words import signed


class TuningRow(Struct, frozen=True):
    """A tuning in the list."""

    name: str
    title: str
    notes: str
    transposed: str


class WishRow(Struct, frozen=True):
    """What one neighbour, or one shape, wishes of a string."""

    who: str
    why: str
    wished: str
    share: float
    rate: str


class DrawnString(Struct, frozen=True):
    """A note of the tuning that is shown, with its wishes and what is left of them."""

    place: int
    called: str
    offset: str
    cents: float
    wishes: tuple[WishRow, ...]
    clash: str


class DrawnTuning(Struct, frozen=True):
    """The tuning that is shown; the highest course comes first."""

    name: str
    title: str
    rule: str
    strings: tuple[DrawnString, ...]
    purity: str
    source: str
    can_be_taken: bool


class TuningsView(Struct, tag="tunings", frozen=True):
    """What was found, and the tuning that is shown."""

    text: str = ""
    rows: tuple[TuningRow, ...] = ()
    shown: DrawnTuning | None = None


def rows_for(text: str) -> tuple[TuningRow, ...]:
    """Tunings by the notes of their strings where the text is notes, else by its words."""
    try:
        notes = parse_strings(text)
    except BadValue:
        notes = ()
    if len(notes) > 1:
        found = found_by_strings(tunings(), notes)
    else:
        found = tuple(FoundTuning(tuning, 0) for tuning in tunings() if has_words(tuning, text.split()))
    return tuple(
        TuningRow(each.tuning.name, each.tuning.title, each.tuning.written, each.transposed) for each in found
    )


def tuning_called(name: str) -> StoredTuning:
    """A tuning of the library. Raises BadValue."""
    for tuning in tunings():
        if tuning.name == name:
            return tuning
    raise BadValue(f'there is no tuning called "{name[:60]}"')


def drawn(tuning: StoredTuning) -> DrawnTuning:
    """A tuning with its strings, each explained."""
    found = solved(tuning)
    places = range(len(tuning.notes))
    purity = ""
    if tuning.rule in (Rule.CHORD, Rule.SHAPES):
        before, after = found.rms_before_cents, found.rms_after_cents
        purity = f"Off pure: {before:.2f} cents with equal strings, {after:.2f} this way"
        purity += "; leave it equal" if tuning.rule is Rule.SHAPES and found.leave_it_equal else ""
    return DrawnTuning(
        tuning.name,
        tuning.title,
        tuning.rule.words.capitalize(),
        tuple(_string(found, place) for place in (reversed(places) if tuning.strings else places)),
        purity,
        tuning.source,
        tuning.strings,
    )


def sounding_of(tuning: StoredTuning, place: int, rig: Rig) -> Sounding:
    """One note of a tuning, or all of them for -1, at the reference pitch. Raises BadValue for another."""
    offsets = solved(tuning).offsets_cents.tolist()
    if not -1 <= place < len(offsets):
        raise BadValue(f"{tuning.name} has no such note")
    chosen = range(len(offsets)) if place < 0 else (place,)
    hz = [float(hz_from_key(tuning.notes[each].key, offsets[each], rig.reference_hz)) for each in chosen]
    return sound(
        [tone_as_written(parse_pitch(f"{each:.6f}"), rig.reference_hz, rig.timbre) for each in hz],
        rig.reference_hz,
    )


def tones_of(tuning: StoredTuning, place: int, rig: Rig) -> tuple[Tone, ...]:
    """The same for the player."""
    return tones_to_play(sounding_of(tuning, place, rig), rig.timbre)


def _string(found: SolvedTuning, place: int) -> DrawnString:
    note = explained(found, place)
    clash = ""
    if note.clash is not None:
        low, high = note.clash.low, note.clash.high
        clash = (
            f"{low.who} and {high.who} want it {note.clash.apart_cents:.1f} cents apart: "
            f"{low.rate} with the one, {high.rate} with the other; {note.clash.gone}"
        )
    return DrawnString(
        place,
        found.tuning.called(place),
        signed(note.offset_cents, 1),
        note.offset_cents,
        tuple(
            WishRow(wish.who, wish.why, signed(wish.wished_cents, 1), wish.share, wish.rate)
            for wish in note.wishes
        ),
        clash,
    )
