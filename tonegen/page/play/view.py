"""What a page shows: every number and word of it, worked out here so that a page computes none.

Strings go by number, tones that sound by name. Travel runs from 0 to 1.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from tonegen import presets
from tonegen.copedent import CellTarget, copedent
from tonegen.errors import BadPreset
from tonegen.frozen import Frozen
from tonegen.instrument import Instrument, State, TuningPoint
from tonegen.interval import Audible, Direction, audible
from tonegen.page.part import BASS, Standing, tone_name
from tonegen.page.setting import Playing, Setting
from tonegen.pitch import pitch_class_name, song_key_name
from tonegen.presets.sets import PAGE
from tonegen.setup.evening import PAGE_TITLE
from tonegen.setup.moves import beats_moved
from tonegen.setup.rig import Rig
from tonegen.setup.setting import Record, song_now
from tonegen.sounding import SoundingInterval, SoundingTone
from tonegen.words import a_minute, in_ten_seconds, rate, rate_and_side, side, signed

_STEPS_CENTS: Final = (-5.0, -1.0, -0.1, 0.1, 1.0, 5.0)


class ChangeView(Struct, frozen=True):
    """A pedal or a lever; `key` is the letter or digit that engages it, `half_stops` where it can be felt."""

    name: str
    place: str
    key: str
    travel: float
    half_stops: tuple[float, ...]


class Cell(Struct, frozen=True):
    """One tuning point of the chart; `stands` when the string stands on it now.

    Not `asked` is one of which no grip asked anything, so that tempering left it as it was.
    """

    string: int
    column: str
    note: str
    offset: str
    hz: str
    moved: bool
    stands: bool
    pinned: bool
    changes: tuple[str, ...]
    travel: float
    asked: bool


class Column(Struct, frozen=True):
    """A column of the chart, and the changes that select it; `half` when at a half-stop."""

    name: str
    changes: tuple[str, ...]
    half: bool


class StepView(Struct, frozen=True):
    """A step of the offset, and how the string would beat after it; "" where nothing else sounds."""

    cents: float
    beats: str


class StringView(Struct, frozen=True):
    """A string as it sounds now, and where its tuning point can be put.

    heard_with : the tone that its `beats` are counted with, "" where nothing else sounds
    """

    number: int
    note: str
    cents: str
    hz: str
    drop: str
    role: str
    in_grip: bool
    point: str
    changes: tuple[str, ...]
    travel: float
    pinned: bool
    offset_cents: float
    target_cents: float
    target: str
    pure_with: tuple[str, ...]
    heard_with: str
    beats: str
    steps: tuple[StepView, ...]


class PairView(Struct, frozen=True):
    """Two strings and how they beat; `plays` when the timbre has the partials that do."""

    low: str
    high: str
    names: str
    strings: str
    ratio: str
    interval: str
    cents: str
    direction: str
    audible: str
    beats_per_second: float
    rate: str
    counts: str
    pulse: str
    listen: str
    plays: bool


class GripView(Struct, frozen=True):
    """A grip at hand; `own` when the player saved it himself, `taken` when it sounds now."""

    name: str
    own: bool
    taken: bool


class SongView(Struct, frozen=True):
    """A song of the set list and the name of its key; `taken` while the bar is where it brought it."""

    name: str
    key: str
    taken: bool


class View(Struct, tag="view", frozen=True):
    """Everything that pages show of the instrument; of two with one `revision` either will do."""

    revision: int
    title: str
    root_name: str
    frets: int
    fret: float
    bar: str
    state: str
    changes: tuple[ChangeView, ...]
    columns: tuple[Column, ...]
    cells: tuple[Cell, ...]
    strings: tuple[StringView, ...]
    pairs: tuple[PairView, ...]
    grips: tuple[GripView, ...]
    songs: tuple[SongView, ...]
    cautions: tuple[str, ...]
    setting: Setting
    playing: Playing
    outlet: str
    undo: str
    redo: str


class PresetName(Struct, frozen=True):
    """A preset that can be chosen."""

    name: str
    title: str


class Choices(Record, tag="choices", frozen=True):
    """What can be chosen, and the words that do not change while a page is open."""

    presets: Mapping[str, tuple[PresetName, ...]]
    roots: tuple[str, ...]
    song_keys: tuple[str, ...]
    hearing_caution: str
    version: str


@dataclass(frozen=True, slots=True)
class Chart(Frozen):
    """What stays as it is while hands move: targets, columns and cautions, and a key for each change."""

    rig: Rig
    targets: tuple[CellTarget, ...]
    columns: tuple[Column, ...]
    cautions: tuple[str, ...]
    keys: Mapping[str, str]


def chart_of(rig: Rig) -> Chart:
    """The chart of a rig."""
    chart = copedent(rig.instrument, rig.temperament, rig.drop, rig.reference_hz)
    return Chart(
        rig,
        chart.targets,
        columns=tuple(
            Column(column.typed, column.changes, any(travel < 1 for travel in column.travels.values()))
            for column in chart.columns
        ),
        cautions=tuple(
            f"string {target.point.string} would be at {target.note} {signed(target.offset_cents, 1)}"
            + (f", {share:.0%} of its wire's minimum strength" if share is not None else "")
            + ": strings can break; ask its maker or a technician first"
            for target, share in chart.strained()
        ),
        keys=_engaging_keys(rig.instrument),
    )


def view(at: Standing, chart: Chart, outlet: str, revision: int, undo: str, redo: str) -> View:
    """The picture of this moment.

    chart : the rig's; outlet : where the sound goes
    """
    rig, playing, setting = at.rig, at.playing, at.setting
    instrument, state = rig.instrument, rig.state(playing.travels)
    every = rig.every_string(playing)
    roles = {tone.string: tone.role for tone in at.sounding.tones}
    stands_on = {number.number: rig.point(number.number, playing) for number in instrument.strings}
    engaged = {name for name, travel in state.travels.items() if travel > 0}
    pinned = {pin.point for pin in setting.pins}
    now = song_now(instrument, setting.songs, playing)
    timbre_partials = set(rig.timbre.multiples)
    return View(
        revision=revision,
        title=instrument.title,
        root_name=instrument.root_name,
        frets=instrument.frets,
        fret=playing.fret,
        bar="open" if playing.fret == 0 else f"fret {playing.fret:g}",
        state=str(state),
        changes=tuple(
            ChangeView(
                change.name,
                change.place,
                chart.keys[change.name],
                state.travels.get(change.name, 0.0),
                tuple(sorted({half.travel for halves in change.half_stops.values() for half in halves})),
            )
            for change in instrument.changes
        ),
        columns=chart.columns,
        cells=tuple(
            Cell(
                target.point.string,
                target.point.stop,
                target.note,
                target.offset_in_words,
                f"{target.hz:.2f}",
                target.point in rig.moved,
                stands_on[target.point.string] == target.point,
                target.point in pinned,
                target.point.changes,
                target.point.travel,
                target.asked,
            )
            for target in chart.targets
        ),
        strings=tuple(
            _string_view(at, tone, stands_on[tone.string], stands_on[tone.string] in pinned, roles)
            for tone in every
            if tone.string is not None
        ),
        pairs=tuple(pair_view(interval, timbre_partials) for interval in at.sounding.intervals),
        grips=_grips(instrument, setting, playing, engaged),
        songs=tuple(
            SongView(song.name, song_key_name(song.key, song.minor), song.name == now)
            for song in setting.songs
        ),
        cautions=chart.cautions,
        setting=replace(setting, readings=(), draft=None),  # which pages are shown by themselves
        playing=playing,
        outlet=outlet,
        undo=undo,
        redo=redo,
    )


def choices(hearing_caution: str, version: str) -> Choices:
    """What can be chosen now."""
    kinds = ("instruments", "temperaments", "drops", "timbres", "scenes", "sets")
    found = {
        kind: tuple(PresetName(name, _title(kind, name)) for name in presets.names(kind)) for kind in kinds
    }
    found["drops"] = (PresetName("none", "No drop"), *found["drops"])
    found["sets"] = (PresetName(PAGE, PAGE_TITLE), *found["sets"])
    roots = tuple(pitch_class_name(root) for root in range(12))
    keys = tuple(song_key_name(root, minor) for minor in (False, True) for root in range(12))
    return Choices(found, roots, keys, hearing_caution, version)


def _title(kind: str, name: str) -> str:
    """The title of a preset, read again only when its file changed; why, where it cannot be read."""
    try:
        written_ns = presets.locate(kind, name).stat().st_mtime_ns
    except (BadPreset, OSError):  # a link to nowhere, or a file that is gone again
        return presets.files.title(kind, name)
    return _title_of(kind, name, written_ns)


@lru_cache(maxsize=512)
def _title_of(kind: str, name: str, written_ns: int) -> str:
    return presets.files.title(kind, name)


def _engaging_keys(instrument: Instrument) -> dict[str, str]:
    """A key of the keyboard for each change: a letter or digit of its name, else the next free one."""
    keys: dict[str, str] = {}
    for change in instrument.changes:
        wanted = (*change.name.lower(), *"qwertyuiopasdfghjklzxcvbnm")
        keys[change.name] = next(key for key in wanted if key.isalnum() and key not in keys.values())
    return keys


def _stop(point: TuningPoint) -> str:
    return f"with {State(point.travels)}" if point.changes else "open"


def _string_view(
    at: Standing,
    tone: SoundingTone,
    point: TuningPoint,
    pinned: bool,
    roles: dict[int | None, str],
) -> StringView:
    rig, playing = at.rig, at.playing
    target_cents = rig.targets.offset_cents(rig.instrument, point)
    assert tone.string is not None
    number = tone.string
    others = [other for other in playing.strings if other != number]
    heard_with, beats, steps = _steps(at, number)
    return StringView(
        number=number,
        note=tone.name,
        cents=signed(tone.offset_cents),
        hz=f"{tone.hz:.2f}",
        drop=signed(tone.drop_cents) if tone.drop_cents else "",
        role=roles.get(tone.string, ""),
        in_grip=number in playing.strings,
        point=f"{rig.instrument.note(point)} {_stop(point)}" + _tune_and_reads(rig, tone, point, playing),
        changes=point.changes,
        travel=point.travel,
        pinned=pinned,
        offset_cents=rig.temperament.offset_cents(rig.instrument, point),
        target_cents=target_cents,
        target=signed(target_cents, 1),
        pure_with=(*((BASS,) if rig.against and others else ()), *map(str, others)),
        heard_with=heard_with,
        beats=beats,
        steps=steps,
    )


def _steps(at: Standing, string: int) -> tuple[str, str, tuple[StepView, ...]]:
    """How a string beats, and would after a step: in the pair heard alone, else that of plainest ratio."""
    found = [it for it in at.sounding.intervals if string in (it.low.string, it.high.string)]
    if not found:
        return "", "", tuple(StepView(step, "") for step in _STEPS_CENTS)
    alone = set(at.playing.only or ())
    heard = min(
        found,
        key=lambda it: ({tone_name(it.low), tone_name(it.high)} != alone, it.ratio.upper * it.ratio.lower),
    )
    slope = at.rig.cents_moved_per_cent(string, at.playing)
    return (
        tone_name(heard.low if heard.high.string == string else heard.high),
        rate_and_side(heard.beats_per_second),
        tuple(
            StepView(step, rate_and_side(beats_moved(heard, string, step * slope))) for step in _STEPS_CENTS
        ),
    )


def _tune_and_reads(rig: Rig, tone: SoundingTone, point: TuningPoint, playing: Playing) -> str:
    """What to tune the point to, and what a meter shows where the cabinet gives."""
    tune = f": tune to {signed(rig.temperament.offset_cents(rig.instrument, point), 1)}"
    if not tone.drop_cents:
        return tune
    reads = signed(tone.offset_cents + tone.drop_cents, 1)
    return f"{tune}, reads {reads} with {rig.state(playing.travels)}"


def pair_view(interval: SoundingInterval, partials: set[float]) -> PairView:
    """An interval in words; `partials` are the multiples that the timbre has."""
    low, high = tone_name(interval.low), tone_name(interval.high)
    pulse = a_minute(interval.beats_per_second)
    return PairView(
        low=low,
        high=high,
        names=f"{interval.low.name}–{interval.high.name}",
        strings=f"{low} and {high}",
        ratio=str(interval.ratio),
        interval=interval.ratio.name,
        cents=signed(interval.cents_from_just),
        direction=interval.direction.value,
        audible=interval.audible.value,
        beats_per_second=interval.beats_per_second,
        rate=rate(interval.beats_per_second),
        counts=_counts(interval.beats_per_second),
        pulse=f"{pulse} a minute" if pulse else "",
        listen=f"{interval.coincident_hz:.0f} Hz",
        plays={float(interval.ratio.upper), float(interval.ratio.lower)} <= partials,
    )


def _counts(beats_per_second: float) -> str:
    """What is counted in ten seconds, or why nothing is."""
    if side(beats_per_second) == Direction.PURE:
        return "stands still"
    match audible(beats_per_second):
        case Audible.ROUGHNESS:
            return "rough, too fast to count"
        case Audible.TOO_SLOW:
            return "slower than you can count"
        case Audible.BEATS:
            return f"{in_ten_seconds(beats_per_second)} in 10 s"


def _grips(
    instrument: Instrument, setting: Setting, playing: Playing, engaged: set[str]
) -> tuple[GripView, ...]:
    strings = set(playing.strings)
    own = [
        GripView(
            grip.name, True, strings == set(grip.strings) and dict(playing.travels) == dict(grip.travels)
        )
        for grip in setting.grips
    ]
    shipped = [
        GripView(grip.name, False, strings == set(grip.strings) and engaged == set(grip.changes))
        for grip in instrument.grips
    ]
    return (*own, *shipped)
