"""Presets by name or file: instruments, temperaments, drop profiles, timbres."""

from collections.abc import Callable
from typing import Any, Final

from tonegen.presets.drops import drop
from tonegen.presets.files import KINDS, listed, locate, names, own_folder
from tonegen.presets.instruments import instrument
from tonegen.presets.temperaments import temperament
from tonegen.presets.timbres import timbre

__all__ = [
    "KINDS", "drop", "instrument", "listed", "load", "locate", "names", "own_folder", "temperament", "timbre",
]  # fmt: skip

_LOADERS: Final[dict[str, Callable[[str], Any]]] = {
    "instruments": instrument, "temperaments": temperament, "drops": drop, "timbres": timbre,
}  # fmt: skip


def load(kind: str, name: str) -> Any:
    """A preset of one of these kinds by its name or file. Raises BadPreset."""
    return _LOADERS[kind](name)
