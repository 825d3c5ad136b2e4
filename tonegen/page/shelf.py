"""Presets as pages take them: by their listed name, read again when their file has changed.

A preset that was read once is not lost when its file is spoilt: what it was then is at hand, in memory or as
a dated copy.
"""

from dataclasses import is_dataclass, replace
from pathlib import Path
from typing import Any

from tonegen import presets
from tonegen.errors import BadPreset, TonegenError
from tonegen.page.copies import copies_of, earlier, keep_copy
from tonegen.presets.files import SHIPPED
from tonegen.presets.scenes import scene
from tonegen.presets.sets import set_list

_Written = tuple[int, int, int]
_read: dict[tuple[str, str, Path], tuple[_Written, Any]] = {}  # one file may have many tunings
_copied: dict[Path, _Written] = {}


def take(kind: str, name: str) -> Any:
    """A preset by its listed name; a page never names a file.

    Raises BadPreset for any other name, and for a file that cannot be read.
    """
    path = presets.listed(kind, name)
    written = _written(path)
    there = _read.get((kind, name, path))
    if there is None or written is None or there[0] != written:
        value = _load(kind, name)
        if written is None:
            return value
        there = _read[kind, name, path] = (written, value)
    return there[1]


def last_good(kind: str, name: str) -> tuple[Any, str] | None:
    """What a preset was when it was last read well, and where that is from; None when it never was."""
    there = _read.get((kind, name, presets.own_folder() / kind / f"{name}.toml"))
    if there is not None:
        return there[1], "as it was before"
    for copy in copies_of(name, earlier(kind), ".toml"):
        try:
            value = _load(kind, str(copy))
        except TonegenError:
            continue
        named = is_dataclass(value) and hasattr(value, "name")
        return (replace(value, name=name) if named else value), f"from its copy {copy}"
    return None


def shipped(kind: str, name: str) -> Any:
    """A preset that comes with the program, whatever the player has under its name."""
    return _load(kind, str(SHIPPED / kind / f"{name}.toml"))


def keep_copies(names: dict[str, str]) -> None:
    """Copy the player's own presets of these names by kind, where they can be read and have changed.

    Raises CannotWrite.
    """
    for kind, name in names.items():
        path = presets.own_folder() / kind / f"{name}.toml"
        written = _written(path)
        if written is None or _copied.get(path) == written:
            continue
        try:
            take(kind, name)
        except BadPreset:
            continue
        if _written(path) == written:  # nobody saves it at this moment
            keep_copy(path, earlier(kind))
            _copied[path] = written


def _load(kind: str, name: str) -> Any:
    loaders = {"scenes": scene, "sets": set_list}
    return loaders[kind](name) if kind in loaders else presets.load(kind, name)


def _written(path: Path) -> _Written | None:
    """By what it is seen that a file has changed; None for what is no file."""
    try:
        about = path.stat()
    except (OSError, ValueError):
        return None
    return about.st_mtime_ns, about.st_size, about.st_ino
