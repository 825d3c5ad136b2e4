"""Timbre presets from TOML: partials with a slope, or one level each."""

from typing import Annotated

from msgspec import Meta

from tonegen.errors import BadValue
from tonegen.presets.files import Fields, locate, named, read
from tonegen.synthesis.timbre import MOST_PARTIALS, Timbre, linear_from_db


class TimbreFields(Fields, kw_only=True):
    """presets/timbres/: `partials` with a slope, or one level per partial.

    With `levels_db`, `multiples` says which partials these are; left out, they count 1, 2, 3, ...
    """

    partials: Annotated[int, Meta(ge=1, le=MOST_PARTIALS)] | None = None
    slope_db_per_octave: float | None = None
    levels_db: list[float] | None = None
    multiples: list[float] | None = None
    phases_turns: list[float] | None = None
    decay_db_per_second: float = 0.0
    stiffness: float = 0.0
    follows_string: bool = False


def timbre(name: str) -> Timbre:
    """The timbre of that name or file."""
    path = locate("timbres", name)
    fields = read(path, TimbreFields)
    with named(path, "timbre"):
        return timbre_from(fields)


def timbre_from(fields: TimbreFields) -> Timbre:
    """The timbre that these fields describe. Raises BadValue naming the field that is wrong."""
    if fields.levels_db is None:
        if fields.partials is None or fields.slope_db_per_octave is None:
            raise BadValue("give partials and slope_db_per_octave, or levels_db")
        if fields.multiples is not None or fields.phases_turns is not None:
            raise BadValue("multiples and phases_turns go with levels_db, not with slope_db_per_octave")
        return Timbre.sloped(
            fields.partials,
            fields.slope_db_per_octave,
            decay_db_per_second=fields.decay_db_per_second,
            stiffness=fields.stiffness,
            follows_string=fields.follows_string,
        )
    if fields.partials is not None or fields.slope_db_per_octave is not None:
        raise BadValue("levels_db is enough; leave out partials and slope_db_per_octave")
    if not all(-200 <= level <= 200 for level in fields.levels_db):  # false for NaN as well
        raise BadValue("levels_db holds a level outside -200 to 200 dB")
    counted = [float(number) for number in range(1, len(fields.levels_db) + 1)]
    return Timbre(
        tuple(counted if fields.multiples is None else fields.multiples),
        tuple(linear_from_db(fields.levels_db).tolist()),
        tuple(fields.phases_turns or ()),
        decay_db_per_second=fields.decay_db_per_second,
        stiffness=fields.stiffness,
        follows_string=fields.follows_string,
    )
