"""The drop and the reference pitch that a temperament was made with, unless others are asked for."""

from dataclasses import dataclass

from tonegen.drop import NO_DROP, Drop
from tonegen.errors import BadPreset, BadValue
from tonegen.instrument import Instrument
from tonegen.pitch import REFERENCE_HZ, checked_reference_hz
from tonegen.presets.drops import drop as load_drop
from tonegen.temperament import NO_CONTEXT, Context, OwnTemperament, Temperament


@dataclass(frozen=True, slots=True)
class Around:
    """What a temperament is heard with.

    words : what a heading says of that which the temperament brought along; empty where all was asked for.
    """

    drop: Drop
    reference_hz: float
    words: str = ""


def context_of(temperament: Temperament) -> Context:
    """What a temperament was made with; nothing is known of one that goes by notes."""
    return temperament.context if isinstance(temperament, OwnTemperament) else NO_CONTEXT


def around(
    temperament: Temperament,
    instrument: Instrument | None = None,
    drop: str | None = None,
    reference_hz: float | None = None,
) -> Around:
    """The drop and the reference pitch that are asked for, else those that the temperament was made with.

    Raises BadPreset or BadValue for a drop that is not there or does not fit the instrument, BadValue for a
    reference pitch out of range.
    """
    made_with = context_of(temperament)
    brought = []
    asked = drop
    if asked is None:
        asked = made_with.drop or NO_DROP.name
        if made_with.drop is not None:
            brought.append(f"drop {made_with.drop}")
    try:
        sag = load_drop(asked)
        sag = sag.checked_on(instrument) if instrument is not None else sag
    except BadValue as error:
        raise BadValue(f"--drop {asked} does not fit: {error}") from None
    except BadPreset as error:
        if drop is not None:
            raise
        raise BadPreset(f"{temperament.name} was made with drop {asked}: {error}; or give --drop") from None
    if reference_hz is None:
        reference_hz = REFERENCE_HZ if made_with.reference_hz is None else made_with.reference_hz
        if made_with.reference_hz is not None:
            brought.append(f"A4 = {reference_hz:g} Hz")
    scene = f" for {made_with.scene}" if made_with.scene else ""
    words = f"As {temperament.name} was made{scene}: {' and '.join(brought)}" if brought else ""
    return Around(sag, checked_reference_hz(reference_hz), words)
