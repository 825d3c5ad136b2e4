"""What comes of a move of hands and feet, or of a choice: a move of `setup`, and what undo says of it."""

from typing import Final

from msgspec.structs import replace

from tonegen import presets
from tonegen.drop import NO_DROP
from tonegen.errors import TonegenError
from tonegen.instrument import TuningPoint
from tonegen.page import shelf
from tonegen.page.part import BASS, Done, Standing
from tonegen.page.play import asks
from tonegen.page.setting import Playing, Setting
from tonegen.setup import moves
from tonegen.setup.context import context_of
from tonegen.setup.rig import rig_for
from tonegen.temperament import on_root
from tonegen.words import signed

# Who touches strings, changes or the bar wants to hear the grip, and nothing in its place.
_HEARS_THE_GRIP: Final = {"two_tones": False, "two_tones_only": False}


# ---------------------------------------------------------------------- hands and feet


def engage(asked: asks.Engage, at: Standing) -> Done:
    """Move a change; one that cannot be engaged together with it is let go."""
    return plays(moves.engage(at.rig.instrument, at.playing, asked.change, asked.travel), at)


def release(asked: asks.Release, at: Standing) -> Done:
    """Let go of every change."""
    return plays(moves.stand(at.rig.instrument, at.playing, {}), at)


def stand(asked: asks.Stand, at: Standing) -> Done:
    """Engage these changes whole, and no other."""
    return plays(moves.stand(at.rig.instrument, at.playing, dict.fromkeys(asked.changes, 1.0)), at)


def strings(asked: asks.Strings, at: Standing) -> Done:
    """Sound these strings."""
    return plays(moves.strings(at.rig.instrument, at.playing, asked.strings), at)


def grip(asked: asks.TakeGrip, at: Standing) -> Done:
    """Take a grip by its name, with its changes: the player's own, or one of the instrument."""
    return plays(moves.take_grip(at.rig.instrument, at.setting.grips, at.playing, asked.name), at)


def bar(asked: asks.Bar, at: Standing) -> Done:
    """Put the bar at a fret."""
    return plays(moves.bar(at.rig.instrument, at.playing, asked.fret), at)


def song(asked: asks.GoToSong, at: Standing) -> Done:
    """Bring the bar to a song's key."""
    return plays(moves.go_to_song(at.rig.instrument, at.setting.songs, at.playing, asked.name), at)


def only(asked: asks.Only, at: Standing) -> Done:
    """Hear a pair's beating partials alone, or everything again."""
    pair = None if asked.low is None or asked.high is None else (asked.low, asked.high)
    return at.plays(only=pair, **_HEARS_THE_GRIP)


# ---------------------------------------------------------------------- offsets by hand


def offset(asked: asks.Offset, at: Standing) -> Done:
    """Give a string's tuning point this offset."""
    return _moved(at.rig.point(asked.string, at.playing), asked.offset_cents, at, asked.gesture)


def equal(asked: asks.Equal, at: Standing) -> Done:
    """Put a string's tuning point at equal temperament."""
    return _moved(at.rig.point(asked.string, at.playing), 0.0, at)


def pure(asked: asks.Pure, at: Standing) -> Done:
    """Move a string until its interval with another one is pure, drop and travel considered."""
    point, interval = at.rig.point(asked.string, at.playing), at.interval(str(asked.string), asked.against)
    return _moved(point, moves.pure_offset_cents(at.rig, at.playing, asked.string, interval), at)


def target(asked: asks.ToTarget, at: Standing) -> Done:
    """Put a string's tuning point back to its target."""
    point = at.rig.point(asked.string, at.playing)
    return _tuned(moves.target(at.setting, point), at, f"{point} to its target")


def targets(asked: asks.Targets, at: Standing) -> Done:
    """Put every moved tuning point back to its target."""
    said = "Everything is back at its target."
    return at.sets("everything reset to its target", said=said, moved=())


# ---------------------------------------------------------------------- what is saved and chosen


def save_grip(asked: asks.SaveGrip, at: Standing) -> Done:
    """Save the strings and changes of this moment under a name."""
    name = asked.name.strip()
    setting = moves.save_grip(at.setting, at.playing, name)
    said = f"Saved as {name}. It is with your grips."
    return Done(setting, at.playing, f"grip {name} saved", said=said)


def forget_grip(asked: asks.ForgetGrip, at: Standing) -> Done:
    """Forget a saved grip."""
    setting = moves.forget_grip(at.setting, asked.name)
    said = f"{asked.name} is deleted. Undo brings it back."
    return Done(setting, at.playing, f"grip {asked.name} deleted", said=said)


def save_song(asked: asks.SaveSong, at: Standing) -> Done:
    """Put a song on the set list: in its place when it is there, else last."""
    name = asked.name.strip()
    words = f"song {name} added to the set list"
    said = f"{name} is on the set list. Touch it to bring the bar to its key."
    return Done(moves.save_song(at.setting, name, asked.key, asked.minor), at.playing, words, said=said)


def forget_song(asked: asks.ForgetSong, at: Standing) -> Done:
    """Take a song off the set list."""
    words = f"song {asked.name} removed from the set list"
    said = f"{asked.name} is off the set list. Undo brings it back."
    return Done(moves.forget_song(at.setting, asked.name), at.playing, words, said=said)


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
        on_root(rig_for(chosen, shelf)[0].targets, chosen.root)  # says so where none is taken
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
    new = [name for name in (asked.instrument, asked.drop) if name]
    return Done(chosen, at.playing, words, said=f"{' and '.join(new)} in use." if new else "")


def _brought_along(name: str) -> dict[str, object]:
    """The drop, if it is a listed one, and the reference pitch that a temperament was made with."""
    try:
        context = context_of(shelf.take("temperaments", name))
    except TonegenError:  # which the setting says by itself
        return {}
    named = {"drop": context.drop} if context.drop in (NO_DROP.name, *presets.names("drops")) else {}
    return named | ({} if context.reference_hz is None else {"reference_hz": context.reference_hz})


def plays(playing: Playing, at: Standing) -> Done:
    """Other hands: the grip is heard; a pair of it alone only while both still sound."""
    pair = playing.only
    still = pair if pair and set(pair) <= {BASS, *map(str, playing.strings)} else None
    return Done(at.setting, replace(playing, only=still, **_HEARS_THE_GRIP))


def _moved(point: TuningPoint, offset_cents: float, at: Standing, gesture: str = "") -> Done:
    setting = moves.offset(at.setting, point, offset_cents)
    return _tuned(setting, at, f"{point} to {signed(offset_cents, 1)}", gesture)


def _tuned(setting: Setting, at: Standing, words: str, gesture: str = "") -> Done:
    return Done(setting, replace(at.playing, **_HEARS_THE_GRIP), words, gesture)


def _fitting(setting: Setting, field: str, otherwise: str) -> Setting:
    """The same setting, or the one with `otherwise` where the two do not go together."""
    _, faults = rig_for(setting, shelf)
    return replace(setting, **{field: otherwise}) if field in [fault.part for fault in faults] else setting
