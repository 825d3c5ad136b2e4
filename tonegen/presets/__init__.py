"""Presets by name or file: instruments, temperaments, drop profiles."""

from tonegen.presets.drops import drop
from tonegen.presets.files import KINDS, locate, names, own_folder
from tonegen.presets.instruments import instrument
from tonegen.presets.temperaments import temperament

__all__ = ["KINDS", "drop", "instrument", "locate", "names", "own_folder", "temperament"]
