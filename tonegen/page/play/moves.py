"""What comes of a move of hands and feet, or of a choice: pure, all or nothing."""

from typing import Final

from msgspec.structs import replace

from tonegen import presets
from tonegen.drop import NO_DROP
from tonegen.errors import BadValue, TonegenError
from tonegen.instrument import TuningPoint
from tonegen.page import shelf
from tonegen.page.part import BASS, Done, Standing, tone_name
from tonegen.page.play import asks
from tonegen.page.play.view import LEAST_OFFSET_CENTS, MOST_OFFSET_CENTS
from tonegen.page.rig import rig_for, with_moved
from tonegen.page.setting import SavedGrip, Setting, Song
from tonegen.presets.context import context_of
from tonegen.words import signed

# Who touches strings, changes or the bar wants to hear the grip, and nothing in its place.
_HEARS_THE_GRIP: Final = {"two_tones": False, "two_tones_only": False}


# ---------------------------------------------------------------------- hands and feet


def engage(asked: asks.Engage, at: Standing) -> Done:
    """Move a change; one that cannot be engaged together with it is let go."""
    instrument, travels = at.rig.instrument, at.playing.travels
    instrument.state({asked.change: asked.travel})
    rivals = {name for group in instrument.exclusive if asked.change in group for name in group}
    kept = {name: travel for name, travel in travels.items() if name not in rivals | {asked.change}}
    if asked.travel > 0:
        kept[asked.change] = asked.travel
    return at.plays(travels=kept, **_HEARS_THE_GRIP)


def release(asked: asks.Release, at: Standing) -> Done:
    """Let go of every change."""
    return at.plays(travels={}, **_HEARS_THE_GRIP)


def stand(asked: asks.Stand, at: Standing) -> Done:
    """Engage these changes whole, and no other."""
    return at.plays(travels=dict(at.rig.instrument.state(asked.changes).travels), **_HEARS_THE_GRIP)


def strings(asked: asks.Strings, at: Standing) -> Done:
    """Sound these strings."""
    chosen = tuple(sorted(set(asked.strings)))
    for number in chosen:
        at.rig.instrument.string(number)
    return at.plays(strings=chosen, only=_still(at.playing.only, chosen), **_HEARS_THE_GRIP)


def grip(asked: asks.TakeGrip, at: Standing) -> Done:
    """Take a grip by its name, with its changes: the player's own, or one of the instrument."""
    own = next((grip for grip in at.setting.grips if grip.name == asked.name), None)
    if own is not None:
        numbers, travels = own.strings, own.travels
    else:
        shipped = at.rig.instrument.grip(asked.name)
        numbers, travels = shipped.strings, dict.fromkeys(shipped.changes, 1.0)
    chosen = tuple(sorted(numbers))
    return at.plays(strings=chosen, travels=travels, only=_still(at.playing.only, chosen), **_HEARS_THE_GRIP)


def bar(asked: asks.Bar, at: Standing) -> Done:
    """Put the bar at a fret."""
    return at.plays(fret=at.rig.instrument.checked_fret(asked.fret), **_HEARS_THE_GRIP)


def song(asked: asks.GoToSong, at: Standing) -> Done:
    """Bring the bar to a song's key."""
    instrument = at.rig.instrument
    for listed in at.setting.songs:
        if listed.name == asked.name:
            fret = instrument.checked_fret(instrument.fret_of_key(listed.key))
            return at.plays(fret=fret, song=asked.name, **_HEARS_THE_GRIP)
    known = ", ".join(song.name for song in at.setting.songs) or "none yet"
    raise BadValue(f'there is no song "{asked.name[:60]}" on the set list; there are: {known}')


def only(asked: asks.Only, at: Standing) -> Done:
    """Hear a pair's beating partials alone, or everything again."""
    pair = None if asked.low is None or asked.high is None else (asked.low, asked.high)
    return at.plays(only=pair, **_HEARS_THE_GRIP)


# ---------------------------------------------------------------------- offsets by hand


def offset(asked: asks.Offset, at: Standing) -> Done:
    """Give a string's tuning point this offset."""
    return _moved(_point(asked.string, at), asked.offset_cents, at, asked.gesture)


def equal(asked: asks.Equal, at: Standing) -> Done:
    """Put a string's tuning point at equal temperament."""
    return _moved(_point(asked.string, at), 0.0, at)


def pure(asked: asks.Pure, at: Standing) -> Done:
    """Move a string until its interval with another one is pure, drop and travel considered."""
    rig, point = at.rig, _point(asked.string, at)
    interval = at.interval(str(asked.string), asked.against)
    now = rig.temperament.offset_cents(rig.instrument, point)
    slope = rig.cents_moved_per_cent(asked.string, at.playing)
    if slope < 0.05:
        raise BadValue(f"{point} hardly moves string {asked.string} here; press its pedal or lever further")
    is_high = tone_name(interval.high) == str(asked.string)
    wide = interval.cents_from_just if is_high else -interval.cents_from_just
    return _moved(point, now - wide / slope, at)


def target(asked: asks.ToTarget, at: Standing) -> Done:
    """Put a string's tuning point back to its target."""
    point = _point(asked.string, at)
    return _with_offset(point, None, at, f"{point} to its target")


def targets(asked: asks.Targets, at: Standing) -> Done:
    """Put every moved tuning point back to its target."""
    return at.sets("everything reset to its target", moved=())


# ---------------------------------------------------------------------- what is saved and chosen


def save_grip(asked: asks.SaveGrip, at: Standing) -> Done:
    """Save the strings and changes of this moment under a name."""
    name, playing = asked.name.strip(), at.playing
    if not name:
        raise BadValue("a grip needs a name")
    if not playing.strings:
        raise BadValue("tap the strings of the grip first")
    others = tuple(grip for grip in at.setting.grips if grip.name != name)
    grips = (*others, SavedGrip(name, playing.strings, playing.travels))
    return at.sets(f"grip {name} saved", grips=grips)


def forget_grip(asked: asks.ForgetGrip, at: Standing) -> Done:
    """Forget a saved grip."""
    left = tuple(grip for grip in at.setting.grips if grip.name != asked.name)
    return at.sets(f"grip {asked.name} deleted", grips=left)


def save_song(asked: asks.SaveSong, at: Standing) -> Done:
    """Put a song on the set list: in its place when it is there, else last."""
    name = asked.name.strip()
    if not name:
        raise BadValue("a song needs a name")
    songs = {song.name: song for song in at.setting.songs} | {name: Song(name, asked.key)}
    return at.sets(f"song {name} added to the set list", songs=tuple(songs.values()))


def forget_song(asked: asks.ForgetSong, at: Standing) -> Done:
    """Take a song off the set list."""
    others = tuple(song for song in at.setting.songs if song.name != asked.name)
    return at.sets(f"song {asked.name} removed from the set list", songs=others)


def choose(asked: asks.Choose, at: Standing) -> Done:
    """Choose what is given; what belongs to another instrument goes with that instrument."""
    setting = at.setting
    given = {
        name: value
        for name in ("instrument", "temperament", "drop", "timbre", "reference_hz", "against")
        if (value := getattr(asked, name)) is not None
    }
    if asked.temperament not in (None, setting.temperament):
        given = _brought_along(asked.temperament) | given
    words = ", ".join(f"{name.removesuffix('_hz')} {value or 'none'}" for name, value in given.items())
    chosen = replace(setting, **given)
    if asked.root is not None:
        chosen = replace(chosen, root=None if asked.root < 0 else asked.root)
        words = words or "root"
    if chosen.instrument != setting.instrument:
        chosen = replace(
            chosen, moved=(), grips=(), root=None, scene="", weights={}, pins=(), readings=(), compared=None
        )
        chosen = _fitting(chosen, "drop", "none") if asked.drop is None else chosen
        chosen = _fitting(chosen, "temperament", "equal") if asked.temperament is None else chosen
    elif chosen.temperament != setting.temperament:
        chosen = replace(chosen, moved=())
        chosen = _fitting(chosen, "drop", setting.drop) if asked.drop is None else chosen
    return Done(chosen, at.playing, words)


def _brought_along(name: str) -> dict[str, object]:
    """The drop, if it is a listed one, and the reference pitch that a temperament was made with."""
    try:
        context = context_of(shelf.take("temperaments", name))
    except TonegenError:  # which the setting says by itself
        return {}
    named = {"drop": context.drop} if context.drop in (NO_DROP.name, *presets.names("drops")) else {}
    return named | ({} if context.reference_hz is None else {"reference_hz": context.reference_hz})


def _point(string: int, at: Standing) -> TuningPoint:
    at.rig.instrument.string(string)
    return at.rig.point(string, at.playing)


def _moved(point: TuningPoint, offset_cents: float, at: Standing, gesture: str = "") -> Done:
    if not LEAST_OFFSET_CENTS <= offset_cents <= MOST_OFFSET_CENTS:  # false for NaN as well
        raise BadValue(
            f"{point} at {signed(offset_cents, 1)} cents is out of range; "
            f"offsets go from {LEAST_OFFSET_CENTS:g} to {MOST_OFFSET_CENTS:g}"
        )
    return _with_offset(point, offset_cents, at, f"{point} to {signed(offset_cents, 1)}", gesture)


def _with_offset(
    point: TuningPoint, offset_cents: float | None, at: Standing, words: str, gesture: str = ""
) -> Done:
    setting = replace(at.setting, moved=with_moved(at.setting, point, offset_cents))
    return Done(setting, replace(at.playing, **_HEARS_THE_GRIP), words, gesture)


def _still(only: tuple[str, str] | None, strings: tuple[int, ...]) -> tuple[str, str] | None:
    """The pair that is heard alone, while both of it still sound."""
    return only if only and set(only) <= {BASS, *map(str, strings)} else None


def _fitting(setting: Setting, field: str, otherwise: str) -> Setting:
    """The same setting, or the one with `otherwise` where the two do not go together."""
    _, faults = rig_for(setting)
    return replace(setting, **{field: otherwise}) if field in [fault.part for fault in faults] else setting
