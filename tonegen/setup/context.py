"""What is asked for, with the drop and the reference pitch that its temperament was made with."""

from tonegen import presets
from tonegen.drop import NO_DROP
from tonegen.errors import BadPreset
from tonegen.pitch import REFERENCE_HZ
from tonegen.setup.rig import Files, Rig, rig_of
from tonegen.setup.setting import Setup
from tonegen.temperament import NO_CONTEXT, Context, OwnTemperament, Temperament, on_root


def context_of(temperament: Temperament) -> Context:
    """What a temperament was made with; nothing is known of one that goes by notes."""
    return temperament.context if isinstance(temperament, OwnTemperament) else NO_CONTEXT


def rig_asked_for(
    instrument: str,
    temperament: str,
    root: int | None = None,
    drop: str | None = None,
    reference_hz: float | None = None,
    timbre: str = "harmonic",
    against: str = "",
) -> tuple[Rig, str]:
    """The rig of names or files; a drop or a reference pitch of None is what the temperament was made with.

    Also what a heading says of that which the temperament brought along; "" where all was asked for.
    Raises BadPreset or BadValue when a part cannot be had, or does not fit the others.
    """
    shelf = Files()
    made_with = context_of(shelf.take("temperaments", temperament))
    brought_drop = made_with.drop if drop is None else None
    brought_hz = made_with.reference_hz if reference_hz is None else None
    try:
        rig = rig_of(
            Setup(
                instrument,
                temperament,
                root,
                drop if drop is not None else brought_drop or NO_DROP.name,
                reference_hz if reference_hz is not None else brought_hz or REFERENCE_HZ,
                timbre,
                against,
            ),
            shelf,
        )
        on_root(rig.targets, root)  # says so where none is taken
    except BadPreset as error:
        if brought_drop is None or _is_there(brought_drop):
            raise
        raise BadPreset(f"{temperament} was made with drop {brought_drop}: {error}; or give --drop") from None
    return rig, _words(rig.targets, brought_drop, rig.reference_hz if brought_hz else None)


def _is_there(drop: str) -> bool:
    try:
        presets.drop(drop)
    except BadPreset:
        return False
    return True


def _words(temperament: Temperament, drop: str | None, reference_hz: float | None) -> str:
    brought = [f"drop {drop}"] if drop is not None else []
    if reference_hz is not None:
        brought.append(f"A4 = {reference_hz:g} Hz")
    scene = context_of(temperament).scene
    made = f"As {temperament.name} was made{f' for {scene}' if scene else ''}"
    return f"{made}: {' and '.join(brought)}" if brought else ""
