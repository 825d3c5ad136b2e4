"""The file that outlives the program: what was set and played, written whole or not at all.

What was kept is not lost to a fault. A file that is damaged, or of a newer program, is read as far as it can
be and stays as it is until the player decides; what is set until then is kept beside it. Each evening has a
copy of its own. Of two programs on one folder the second writes only into its own copy.
"""

import os
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Annotated, Any, Final

import msgspec
from msgspec import Meta, Struct

from tonegen import presets
from tonegen.errors import BadPreset, CannotWrite
from tonegen.page import shelf
from tonegen.page.copies import claim_place, copies_of, drop_oldest, earlier, keep_copy, stamp
from tonegen.page.salvage import fields_of, salvaged
from tonegen.page.setting import KeptStep, Playing, Setting
from tonegen.presets import own_folder
from tonegen.setlist.records import SetList
from tonegen.setup.evening import PAGE_TITLE, set_of_setup
from tonegen.writing import HeldElsewhereError, hold_alone, remove_left_over, written_whole

VERSION: Final = 10  # of the fields of a setting and of playing: one more whenever a field comes or goes
_NAME: Final = "page"
_MOST_CHANNELS: Final = 1000
_LARGEST_BYTES: Final = 4_000_000
_NO_SONGS: Final = "the page has no songs yet; save them there, or name a set: tonegen list sets"


class Kept(Struct, frozen=True, forbid_unknown_fields=True):
    """What is found again after a restart; `device` is the sound device that was chosen by name.

    input, input_channel : the sound input that was chosen by name, and its channel, 0 for the loudest
    undecided : the player has not said yet whether this may stand in the place of what could not be read
    undo, redo : the steps that can be taken, the next one first
    """

    setting: Setting = Setting()
    playing: Playing = Playing()
    device: str | None = None
    input: str | None = None
    input_channel: Annotated[int, Meta(ge=0, le=_MOST_CHANNELS)] = 0
    undecided: bool = False
    version: int = VERSION
    undo: tuple[KeptStep, ...] = ()
    redo: tuple[KeptStep, ...] = ()


def kept_file() -> Path:
    """Where it is kept: the user's own folder."""
    return own_folder() / f"{_NAME}.json"


def kept_set() -> SetList:
    """The set list of the page as it was kept last. Raises BadPreset where there is none that can be read."""
    place = kept_file()
    kept, fault = _read(place)
    if kept is None:
        raise BadPreset(
            f"{place}: {fault}; open the page, and save the set list again" if fault else _NO_SONGS
        )
    if not kept.setting.songs:
        raise BadPreset(_NO_SONGS)
    instrument = presets.instrument(kept.setting.instrument)
    return set_of_setup(kept.setting, instrument, _NAME, PAGE_TITLE)


class KeptFile:
    """The kept file while a page is open; a context manager.

    kept : what was found, None for nothing. said : what there is to say about it, a line each.
    undecided : what is in place of the file is not all that it was; it stays until the player decides
    """

    def __init__(self, path: Path) -> None:
        """Find what was kept; nothing is written yet."""
        self.path = path
        self.kept: Kept | None = None
        self.said: tuple[str, ...] = ()
        self.undecided = False
        self._beside = path.with_name(f"{path.stem}-undecided.json")
        self._copy: Path | None = None
        self._held: int | None = None
        self._alone = True
        with suppress(OSError):  # it is said when something is to be written
            path.parent.mkdir(parents=True, exist_ok=True)
        try:
            self._held = hold_alone(path.parent)
        except HeldElsewhereError:
            self._alone = False
        remove_left_over(path.parent)
        self._saved: Kept | None = None
        self._find()
        if not self._alone:
            self.said += (
                f"another tonegen page has {path.parent} open and saves what you set there; "
                f"what you set here is saved in {earlier()}, by date",
            )
        if self.kept is not None:
            with suppress(CannotWrite):
                shelf.keep_copies(_names_of(self.kept.setting))

    def __enter__(self) -> "KeptFile":
        """Give the file itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Let another program have it."""
        if self._held is not None:
            os.close(self._held)
            self._held = None

    def save(self, kept: Kept) -> None:
        """Keep it, beside the file while that waits for a decision, and in the evening's copy.

        Raises CannotWrite.
        """
        if kept == self._saved:
            return
        data = msgspec.json.encode(kept)
        if self._alone:
            place = self._beside if kept.undecided else self.path
            if place.is_dir():
                _move_aside(place)
            _write(place, data)
            if not kept.undecided:
                with suppress(OSError):
                    self._beside.unlink()
        self._saved = kept
        if self._copy is None:
            try:
                self._copy = claim_place(_NAME, earlier(), ".json")
            except OSError as error:
                raise CannotWrite(f"{earlier()}: cannot be written: {error.strerror}") from None
            drop_oldest(_NAME, earlier(), ".json")
        _write(self._copy, data)
        shelf.keep_copies(_names_of(kept.setting))

    def _find(self) -> None:
        there, fault = _read(self.path)
        place = self.path
        if os.path.lexists(self._beside):
            if there is not None and _newer(self.path, self._beside):
                self._set_aside(self._beside)  # the player put another file in its place
            else:
                place = self._beside
        kept, fault_here = (there, fault) if place is self.path else _read(place)
        if kept is not None:
            self.kept = kept
            if place is self.path:
                self._saved = kept
            elif fault:
                self.undecided = True
                self.said = (f"{self.path}: {fault}; it was left alone, and what you set since then is here",)
        elif fault_here:
            self._salvage(place, fault_here)
        else:
            copy, self.kept = self._newest_copy()
            if copy is not None:
                self.said = (f"{self.path} is gone; its contents come from the copy {copy}",)

    def _salvage(self, place: Path, fault: str) -> None:
        """Take what can be read of the file, the rest from its newest copy."""
        copy, copied = self._newest_copy()
        known = copied or Kept()
        self.undecided = True
        words = [f"{place}: {fault}"]
        try:
            data = _bytes_of(place)
        except (OSError, ValueError):
            self.kept = known
        else:
            fields, whole = fields_of(data)
            setting, playing, faults = salvaged(
                fields,
                (known.setting, known.playing),
                whole=whole,
                lacks=not whole or fields.get("version") == VERSION,
            )
            device = fields.get("device", known.device)
            self.kept = Kept(
                setting,
                playing,
                device if isinstance(device, str) else None,
                *_input_of(fields, known),
            )
            if faults:
                words.append(f"only partly read: {', '.join(faults)}")
            aside = self._set_aside(place)
            words.append(f"it was left alone, and copied to {aside}" if aside else "it was left alone")
        if copy is not None:
            words.append(f"what is missing comes from the copy {copy}")
        self.said = ("; ".join(words),)

    def _set_aside(self, path: Path) -> Path | None:
        with suppress(CannotWrite):
            return keep_copy(path, earlier(), name=f"{path.stem}-damaged", for_good=True)
        return None

    def _newest_copy(self) -> tuple[Path | None, Kept | None]:
        for copy in copies_of(_NAME, earlier(), ".json"):
            kept, _ = _read(copy)
            if kept is not None:
                return copy, kept
        return None, None


def _input_of(fields: dict[str, Any], known: Kept) -> tuple[str | None, int]:
    name, channel = fields.get("input", known.input), fields.get("input_channel", known.input_channel)
    if not isinstance(name, str) or not isinstance(channel, int) or not 0 <= channel <= _MOST_CHANNELS:
        return None, 0
    return name, channel


def _names_of(setting: Setting) -> dict[str, str]:
    return {
        "instruments": setting.instrument,
        "temperaments": setting.temperament,
        "drops": setting.drop,
        "timbres": setting.timbre,
        "scenes": setting.scene,
    }


def _bytes_of(path: Path) -> bytes:
    """What is in a file. Raises OSError, and ValueError for one that is too large to be ours."""
    if not path.is_file():
        path.stat()
        raise IsADirectoryError
    if path.stat().st_size > _LARGEST_BYTES:
        raise ValueError
    return path.read_bytes()


def _read(path: Path) -> tuple[Kept | None, str]:
    """What is kept in a file that is whole; else why it is not, which is "" where there is none."""
    try:
        data = _bytes_of(path)
    except FileNotFoundError:
        return None, "is a broken link" if path.is_symlink() else ""
    except IsADirectoryError:
        return None, "is not a file"
    except ValueError:
        return None, "is too large"
    except OSError as error:
        return None, f"cannot be read: {error.strerror}"
    fields, whole = fields_of(data)
    version = fields.get("version", 0)
    if isinstance(version, int) and version > VERSION:
        return None, "was written by a newer tonegen: update this one"
    try:
        kept = msgspec.json.decode(data, type=Kept)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        return None, "is damaged"
    if not whole or (version == VERSION and _lacks_something(fields)):
        return None, "is damaged"
    return kept, ""


def _lacks_something(fields: dict[str, Any]) -> bool:
    return any(
        field.name not in fields.get(part, {})
        for part, model in (("setting", Setting), ("playing", Playing))
        for field in msgspec.structs.fields(model)
    )


def _newer(path: Path, other: Path) -> bool:
    with suppress(OSError):
        return path.stat().st_mtime_ns > other.stat().st_mtime_ns
    return False


def _move_aside(place: Path) -> None:
    """Something else than a file stands in the place: it moves among the copies."""
    try:
        earlier().mkdir(parents=True, exist_ok=True)
        place.rename(earlier() / f"{place.stem}-folder.{stamp()}")
    except OSError as error:
        raise CannotWrite(f"{place}: is a folder and cannot be moved: {error.strerror}") from None


def _write(place: Path, data: bytes) -> None:
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotWrite(f"{place}: cannot be written: {error.strerror}") from None
    with written_whole(place, force=True) as beside:
        beside.write_bytes(data)
