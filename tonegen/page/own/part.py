"""The part of the page where presets of the player's own are made: typed, checked as it is typed, written."""

import asyncio
import hashlib
import tomllib
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import ClassVar, Final

from msgspec import Struct, field
from msgspec.structs import replace

from tonegen import presets
from tonegen.errors import BadPreset, BadValue, TonegenError
from tonegen.page.asked import Asked, RowFault
from tonegen.page.own import asks
from tonegen.page.own.kinds import KINDS_OF_OWN, OwnKind
from tonegen.page.part import Act, Change, Done, Host, Part, Standing
from tonegen.page.setting import Draft, KindOfOwn
from tonegen.presets.drafts import Sheet, counted_rows, faults_of, kind_of, named_way, typed_fields, way_to
from tonegen.presets.files import SHIPPED, readable
from tonegen.presets.own import own_place, save_text, text_like
from tonegen.presets.steel import put_notes
from tonegen.setup.setting import Record

_LOOK_SECONDS: Final = 1.0  # whether the file was changed elsewhere
_NAME: Final = "name"
_NOTES: Final = "notes"  # of all strings, in one line


class OwnInstrument(Record, frozen=True):
    """The steel that a scene or a drop profile is for, as far as it can be read."""

    name: str = ""
    strings: tuple[int, ...] = ()
    changes: tuple[str, ...] = ()
    grips: tuple[str, ...] = ()


class OwnView(Record, tag="own", frozen=True):
    """The preset that is being made; kind is "" while there is none.

    name : what it will be saved as. was : the player's own that it was read from, "" for a new one.
    fields : what is typed in each, by its name. rows : how many there are of each list.
    changed : whether anything is not saved. elsewhere : its file was changed by somebody else meanwhile.
    words : what happened last. steel : the one that a scene names, or that a drop profile is typed for.
    """

    kind: str = ""
    name: str = ""
    was: str = ""
    fields: dict[str, str] = field(default_factory=dict)
    rows: dict[str, int] = field(default_factory=dict)
    faults: tuple[RowFault, ...] = ()
    changed: bool = False
    elsewhere: bool = False
    words: str = ""
    steel: OwnInstrument = OwnInstrument()


class OwnChoices(Record, tag="ownchoices", frozen=True):
    """What one can be made like, by kind: names of all presets, and of the player's own."""

    all: dict[str, tuple[str, ...]]
    yours: dict[str, tuple[str, ...]]


def _start(asked: asks.StartOwn, at: Standing) -> Done:
    kind = KINDS_OF_OWN[asked.kind]
    text = text_like(asked.kind, asked.like) if asked.like else kind.from_nothing
    tomllib.loads(text)
    return at.sets("a preset begun", draft=Draft(asked.kind, "", "", "", text))


def _open(asked: asks.OpenOwn, at: Standing) -> Done:
    return at.sets(f"{asked.name} opened", draft=_read(asked.kind, asked.name))


def _read(kind: KindOfOwn, name: str) -> Draft:
    path = presets.listed(kind, name)
    if path.is_relative_to(SHIPPED):
        raise BadValue(f"{name} comes with the program; make one like it")
    text = readable(path)
    return Draft(kind, name, name, _stamp(text), text)


def _forget(asked: asks.ForgetOwn, at: Standing) -> Done:
    return at.sets("the preset put away", draft=None)


def _put(asked: asks.PutOwn, at: Standing) -> Done:
    draft, kind = _draft(at)
    aside = {field: typed for field, typed in draft.aside.items() if field != asked.field}
    words = "typed in your preset"
    gesture = f"typed {asked.field}"
    if asked.field == _NAME:
        return at.sets(words, gesture, draft=replace(draft, name=asked.typed.strip()))
    way = way_to(asked.field)
    reads = kind_of(way, kind.reads)
    sheet = Sheet(draft.text)
    try:
        if asked.field == _NOTES and draft.kind == "instruments":
            put_notes(sheet, asked.typed)
        elif reads is None:
            raise BadValue(f"there is no field {asked.field[:60]} here")
        else:
            kind.put(sheet, way, reads, asked.typed)
        text = sheet.written()
    except BadValue:
        if asked.field not in typed_fields(sheet.values, kind.reads):
            raise
        # A name of a pedal that is taken: it stands as it is typed, and what goes by the old one is not lost.
        return at.sets(words, gesture, draft=replace(draft, aside=aside | {asked.field: asked.typed}))
    left = _left_aside(kind, sheet, aside)
    return at.sets(words, gesture, draft=replace(draft, text=sheet.written() if aside else text, aside=left))


def _rows(words: str, change: Callable[[OwnKind, Sheet, Asked], None]) -> Change:
    def changed(asked: Asked, at: Standing) -> Done:
        draft, kind = _draft(at)
        sheet = Sheet(draft.text)
        change(kind, sheet, asked)
        aside = _left_aside(kind, sheet, _where_rows_are(sheet, draft.aside))
        return at.sets(words, draft=replace(draft, text=sheet.written(), aside=aside))

    return changed


def _where_rows_are(sheet: Sheet, aside: Mapping[str, str]) -> dict[str, str]:
    """What stands beside the text, each where its row is now; that of a row that is gone goes."""
    found = {}
    for name, typed in aside.items():
        rows, at, *rest = way_to(name)
        was = sheet.was.get(str(rows), [])
        if at in was:
            found[named_way((rows, was.index(at), *rest))] = typed
    return found


def _left_aside(kind: OwnKind, sheet: Sheet, aside: Mapping[str, str]) -> dict[str, str]:
    """Write what can stand in the text by now, such as a name that is free again; the rest is left."""
    left = {}
    for name, typed in aside.items():
        try:
            kind.put(sheet, way_to(name), kind.reads[_pattern(name, kind)], typed)
        except BadValue:
            left[name] = typed
    return left


def _add(kind: OwnKind, sheet: Sheet, asked: Asked) -> None:
    assert isinstance(asked, asks.AddOwn)
    kind.add(sheet, way_to(asked.rows))
    if asked.named:
        at = len(sheet.rows(asked.rows)) - 1
        kind.put(sheet, (asked.rows, at, "name"), "text", asked.named)


def _take_out(kind: OwnKind, sheet: Sheet, asked: Asked) -> None:
    assert isinstance(asked, asks.TakeOwnOut)
    if asked.row != "misfits":
        return kind.take_out(sheet, way_to(asked.row))
    faults = faults_of(sheet.text, Path("preset"), kind.model, kind.check)
    ways = [way_to(fault.field) for fault in faults]
    for at in sorted(
        {way[1] for way in ways if way[:1] == ("grips",) and isinstance(way[1], int)}, reverse=True
    ):
        sheet.take_out("grips", at)
    return None


def _move(kind: OwnKind, sheet: Sheet, asked: Asked) -> None:
    assert isinstance(asked, asks.MoveOwn)
    kind.move(sheet, way_to(asked.row), asked.to)


def _draft(at: Standing) -> tuple[Draft, OwnKind]:
    if at.setting.draft is None:
        raise BadValue("nothing is open here; start from a preset or from scratch")
    return at.setting.draft, KINDS_OF_OWN[at.setting.draft.kind]


def _stamp(text: str) -> str:
    """What tells one text from another."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


class OwnPart(Part):
    """The draft is part of what is set, so that it is undone, redone and kept as all else."""

    changes: ClassVar[dict[type[Asked], Change]] = {
        asks.StartOwn: _start,
        asks.OpenOwn: _open,
        asks.PutOwn: _put,
        asks.AddOwn: _rows("a row added to your preset", _add),
        asks.TakeOwnOut: _rows("a row taken out of your preset", _take_out),
        asks.MoveOwn: _rows("a row of your preset moved", _move),
        asks.ForgetOwn: _forget,
    }

    def __init__(self, host: Host) -> None:
        """Nothing is looked at before a page asks."""
        super().__init__(host)
        self._written: dict[tuple[str, str], str] = {}  # what was saved here, by kind and name
        self._shown: OwnView | None = None
        self._made: tuple[Draft | None, OwnView] = (None, OwnView())
        self._words = ""
        self._steel = ""  # whose strings a drop profile is typed for; "" for the one that is played
        self._worded: Draft | None = None
        self._looking: asyncio.TimerHandle | None = None

    def shown(self) -> Iterable[Struct]:
        """What can be begun with, and what was begun."""
        self._shown = self._view(self.host.at.setting.draft)
        self._look_later()
        return _choices(), self._shown

    def follow(self, at: Standing) -> None:
        """Something was typed, undone or done again."""
        if at.setting.draft is self._made[0] and self._shown is not None:
            return
        self._show()
        self._look_later()

    def _show(self) -> None:
        view = self._view(self.host.at.setting.draft)
        if view != self._shown:
            self._shown = view
            self.host.post(view)

    def _view(self, draft: Draft | None) -> OwnView:
        if draft is None:
            self._made = None, OwnView(words=self._words)
            return self._made[1]
        there = _on_disk(draft.kind, draft.name) if draft.name == draft.was else None
        if self._made[0] is not draft or self._made[1].kind == "":
            self._made = draft, self._worked_out(draft)
        return replace(
            self._made[1],
            changed=_stamp(draft.text) != there or bool(draft.aside),
            elsewhere=there is not None
            and there not in (draft.stamp, self._written.get((draft.kind, draft.name))),
            words=self._words if draft is self._worded else "",
            steel=self._steel_of(draft),
        )

    def _steel_of(self, draft: Draft) -> OwnInstrument:
        """The steel that a scene names; of a drop profile the one chosen, made last, or played."""
        if draft.kind == "scenes":
            name = str(tomllib.loads(draft.text).get("instrument", ""))
        elif draft.kind == "drops":
            name = self._steel or self.host.at.setting.instrument
        else:
            return OwnInstrument()
        try:
            steel = presets.instrument(name)
        except TonegenError:  # said at its field
            return OwnInstrument(name)
        return OwnInstrument(
            name,
            tuple(string.number for string in steel.strings),
            tuple(change.name for change in steel.changes),
            tuple(grip.name for grip in steel.grips),
        )

    def _take_instrument(self, asked: asks.TakeInstrument) -> None:
        presets.instrument(asked.name)
        self._steel = asked.name
        self._show()

    def _worked_out(self, draft: Draft) -> OwnView:
        kind = KINDS_OF_OWN[draft.kind]
        values = tomllib.loads(draft.text)
        return OwnView(
            draft.kind,
            draft.name,
            draft.was,
            typed_fields(values, kind.reads) | draft.aside,
            counted_rows(values),
            self._faults(draft),
        )

    def _faults(self, draft: Draft) -> tuple[RowFault, ...]:
        kind = KINDS_OF_OWN[draft.kind]
        found = [*self._faults_of_name(draft)]
        for aside, typed in draft.aside.items():
            sheet = Sheet(draft.text)
            try:
                kind.put(sheet, way_to(aside), kind.reads[_pattern(aside, kind)], typed)
            except BadValue as error:
                found.append(RowFault(aside, str(error)))
        path = presets.own_folder() / draft.kind / "preset.toml"
        found += [RowFault(one.field, one.why) for one in faults_of(draft.text, path, kind.model, kind.check)]
        return tuple(found)

    def _faults_of_name(self, draft: Draft) -> Iterable[RowFault]:
        if not draft.name:
            yield RowFault(_NAME, "give it a name to save it under")
            return
        try:
            place = own_place(draft.kind, draft.name)
        except BadValue as error:
            yield RowFault(_NAME, str(error))
            return
        ours = draft.name == draft.was or (draft.kind, draft.name) in self._written
        if place.exists() and not ours:
            yield RowFault(_NAME, f"{draft.name} is taken by another of yours; give this one its own name")

    def _save(self, asked: asks.SaveOwn) -> None:
        draft, _ = _draft(self.host.at)
        if faults := self._faults(draft):
            return self._say(f"Nothing was saved: {_first(faults)}")
        there = _on_disk(draft.kind, draft.name)
        if there not in (None, draft.stamp, self._written.get((draft.kind, draft.name))):
            return self._say(
                "Nothing was saved: its file was changed elsewhere. Read it again, or give this another name."
            )
        save_text(draft.kind, draft.name, draft.text)
        stamp = _stamp(draft.text)
        self._written[draft.kind, draft.name] = stamp
        if draft.kind == "instruments":
            self._steel = draft.name
        self.host.show_presets()
        saved = replace(draft, was=draft.name, stamp=stamp)
        words = f"saved as {draft.name} (its file stays)"
        self.host.accept(self.host.at.sets(words, draft=saved), presets_changed=True)
        self._say(f"Saved as {draft.name}. Press “Use it now” to have it on the page.")
        self.host.post(_choices())
        return None

    def _say(self, words: str) -> None:
        self._words, self._worded = words, self.host.at.setting.draft
        self._show()

    def _again(self, asked: asks.ReadOwn) -> None:
        draft, _ = _draft(self.host.at)
        self.host.accept(self.host.at.sets("read again", draft=_read(draft.kind, draft.was)))

    def _look_later(self) -> None:
        if self._looking is None and self.host.at.setting.draft is not None:
            loop = asyncio.get_running_loop()
            self._looking = loop.call_later(_LOOK_SECONDS, self._look)

    def _look(self) -> None:
        """A file that was changed elsewhere is read again, where nothing was typed here since."""
        self._looking = None
        draft = self.host.at.setting.draft
        if draft is not None and draft.was and draft.was == draft.name and _stamp(draft.text) == draft.stamp:
            there = _on_disk(draft.kind, draft.was)
            if there not in (None, draft.stamp):
                try:
                    anew = _read(draft.kind, draft.was)
                    Sheet(anew.text)
                    self.host.accept(
                        self.host.at.sets(f"{draft.was} read again", draft=anew), presets_changed=True
                    )
                    self._say(f"{draft.was} was changed elsewhere, and read again.")
                except (TonegenError, ValueError):  # half written, or broken: it is looked at again
                    pass
        self._show()
        self._look_later()

    def leave_alone(self) -> None:
        """No page looks at it."""
        self._stop_looking()

    async def close(self) -> None:
        """Look at nothing more."""
        self._stop_looking()

    def _stop_looking(self) -> None:
        if self._looking is not None:
            self._looking.cancel()
            self._looking = None

    acts: ClassVar[dict[type[Asked], Act]] = {
        asks.SaveOwn: _save,
        asks.ReadOwn: _again,
        asks.TakeInstrument: _take_instrument,
    }


def _first(faults: tuple[RowFault, ...]) -> str:
    more = len(faults) - 1
    return faults[0].why + (f", and {more} more" if more else "")


def _pattern(field: str, kind: OwnKind) -> str:
    way = way_to(field)
    return next(pattern for pattern in kind.reads if kind_of(way, {pattern: kind.reads[pattern]}))


def _on_disk(kind: str, name: str) -> str | None:
    """The stamp of one of the player's own; None where there is none."""
    try:
        return _stamp(readable(own_place(kind, name)))
    except (BadValue, BadPreset):
        return None


def _choices() -> OwnChoices:
    own = presets.own_folder()
    there = {kind: presets.files.files(kind) for kind in KINDS_OF_OWN}
    return OwnChoices(
        {kind: tuple(files) for kind, files in there.items()},
        {
            kind: tuple(name for name, path in files.items() if path.is_relative_to(own))
            for kind, files in there.items()
        },
    )
