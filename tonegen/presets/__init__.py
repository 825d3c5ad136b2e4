"""Presets by name or file: instruments, temperaments, drop profiles, timbres."""

from tonegen.presets.drops import drop
from tonegen.presets.files import KINDS, locate, names, own_folder
from tonegen.presets.instruments import instrument
from tonegen.presets.temperaments import temperament
from tonegen.presets.timbres import timbre

__all__ = ["KINDS", "drop", "instrument", "locate", "names", "own_folder", "temperament", "timbre"]
