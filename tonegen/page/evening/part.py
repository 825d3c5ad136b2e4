"""The part of the page that goes through an evening's set, from song to song."""

from collections.abc import Iterable
from pathlib import Path
from time import monotonic
from typing import ClassVar

from msgspec import Struct
from msgspec.structs import replace

from tonegen.errors import BadValue, TonegenError
from tonegen.page import shelf
from tonegen.page.asked import Asked
from tonegen.page.evening import asks
from tonegen.page.evening.changing import SetRows, rows_of_file, rows_of_page, songs_of_page, write
from tonegen.page.evening.stands import EveningView, names_bar, other_rig, views
from tonegen.page.part import Act, Done, Host, Part, Standing
from tonegen.page.play import moves
from tonegen.page.play.asks import Choose
from tonegen.page.setting import Playing
from tonegen.presets.own import copy_preset, save_songs
from tonegen.presets.sets import PAGE
from tonegen.setlist.presses import Presses
from tonegen.setlist.records import Action, SetList
from tonegen.setlist.states import SongState, states
from tonegen.setup.evening import PAGE_TITLE, set_of_setup

_PRESSED = "page"  # all tablets are one foot: two that press together go on once


class EveningPart(Part):
    """The set that is open, and where in it the player is. Its file is read when it is opened, not while it
    is gone through; the page's own list is as it stands.
    """

    def __init__(self, host: Host) -> None:
        """Nothing is read before a page asks."""
        super().__init__(host)
        self._evening: SetList | None = None
        self._states: tuple[SongState, ...] = ()
        self._presses = Presses(_no_songs(), -1)
        self._words = ""
        self._listed: object = None  # what the page's own list was made from
        self._read: int | None = None  # when the file was written that was read
        self._shown: EveningView | None = None

    def shown(self) -> Iterable[Struct]:
        """The set as it was left."""
        if self._evening is None:
            self._open(self.host.at.playing.evening)
        self._shown = self._view()
        return (self._shown,)

    def follow(self, at: Standing) -> None:
        """The page's own list may have changed, or the bar was brought to another song of the set."""
        if self._evening is None:
            return
        if self._evening.name != at.playing.evening or self._own_list(at) != self._listed:
            self._open(at.playing.evening)
        elif self._place_of(at.playing) not in (-1, self._presses.place):
            self._presses = Presses(self._evening, self._place_of(at.playing))
        self._show()

    def _show(self) -> None:
        view = self._view()
        if view != self._shown:
            self._shown = view
            self.host.post(view)

    def _view(self) -> EveningView:
        evening, presses = self._evening or _no_songs(), self._presses
        songs = views(self._states, evening)
        return EveningView(
            self.host.at.playing.evening,
            evening.title,
            songs,
            now=songs[presses.place].number if presses.place >= 0 else 0,
            next=songs[presses.next_place].number if songs and presses.next_place is not None else 0,
            words=self._words,
            rig=other_rig(evening, self.host.at.setting) if songs and evening.name != PAGE else "",
        )

    def _open(self, name: str) -> None:
        """Read a set; one that cannot be read has no songs, and says why."""
        at = self.host.at
        self._words, self._listed = "", self._own_list(at)
        try:
            self._evening = _set(name, at)
        except TonegenError as error:
            self._evening, self._words = _no_songs(name), str(error)
        self._read = _written(self._evening)
        self._states = states(self._evening)
        self._presses = Presses(self._evening, self._place_of(at.playing))

    def _own_list(self, at: Standing) -> object:
        return (at.setting.songs, at.rig.instrument) if at.playing.evening == PAGE else None

    def _place_of(self, playing: Playing) -> int:
        """Where the song that the bar was brought to last stands in the set; -1 where it has none of it."""
        names = [state.song.name for state in self._states]
        return names.index(playing.song) if playing.song in names else -1

    def _take(self, asked: asks.OpenSet) -> None:
        at = self.host.at
        _set(asked.name, at)  # refused as a whole where it cannot be read
        self._evening = None
        self.host.accept(at.plays(evening=asked.name, song=""))
        self._open(asked.name)
        self._show()

    def _next(self, asked: asks.NextSong) -> None:
        self._press(Action.NEXT)

    def _previous(self, asked: asks.PreviousSong) -> None:
        self._press(Action.PREVIOUS)

    def _press(self, action: Action) -> None:
        """Bring the bar to the song; a press too many does nothing, and says why."""
        before = self._presses.place
        outcome = self._presses.press(_PRESSED, action, monotonic())
        self._words = outcome.why or self._changed_words()
        if outcome.goes_to is not None:
            try:
                self.host.accept(self._played(self._states[outcome.goes_to]))
            except TonegenError:
                self._presses = Presses(self._evening or _no_songs(), before)
                raise
        self._show()

    def _changed_words(self) -> str:
        if self._evening is None or _written(self._evening) == self._read:
            return ""
        return f"{self._evening.file} has changed; open the set again to go by it."

    def _played(self, state: SongState) -> Done:
        """The bar where the song has it: at its fret, or at its key where the page has another instrument."""
        at, evening = self.host.at, self._evening or _no_songs()
        steel, playing = at.rig.instrument, replace(at.playing, song=state.song.name)
        if evening.instrument == at.setting.instrument and names_bar(state):
            playing = replace(playing, fret=steel.checked_fret(state.fret))
        elif state.key is not None:
            playing = replace(playing, fret=steel.checked_fret(steel.fret_of_key(state.key)))
        return moves.plays(playing, at)

    def _show_next(self, asked: asks.ShowNext) -> None:
        self._words = self._presses.load(asked.number, monotonic()).why
        self._show()

    def _edit(self, asked: asks.EditSet) -> None:
        self.host.post(replace(self._rows(), by=asked.by))

    def _rows(self) -> SetRows:
        at = self.host.at
        name = at.playing.evening
        return rows_of_page(at.setting) if name == PAGE else rows_of_file(name)

    def _save(self, asked: asks.SaveSet) -> None:
        """Write the set, or show what is wrong with each field and write nothing."""
        at = self.host.at
        if at.playing.sounding:
            raise BadValue("stop the sound first: a set is changed while nothing plays")
        name = at.playing.evening
        if name == PAGE:
            if asked.stamp != self._rows().stamp:
                raise BadValue("the set list was changed meanwhile; see it as it is, then change it")
            songs, faults = songs_of_page(asked)
            if not faults:
                self.host.accept(at.sets("set list changed", songs=songs))
        elif not (faults := write(name, asked)):
            self._reopen(name)
        self.host.post(replace(self._rows(), faults=faults, by=asked.by))

    def _copy(self, asked: asks.CopySet) -> None:
        name, new_name = self.host.at.playing.evening, asked.name.strip()
        if name == PAGE:
            save_songs(_set(PAGE, self.host.at), new_name)
        else:
            copy_preset("sets", name, new_name)
        self._reopen(new_name)
        self.host.post(replace(self._rows(), by=asked.by))

    def _reopen(self, name: str) -> None:
        """A set that was written: the song now stays the song now."""
        self.host.show_presets()
        self._evening = None
        self.host.accept(self.host.at.plays(evening=name))
        self._open(name)
        self._show()

    def _take_rig(self, asked: asks.TakeRig) -> None:
        evening = self._evening or _no_songs()
        wanted = Choose(
            instrument=evening.instrument or None,
            temperament=evening.temperament,
            root=-1 if evening.root is None else evening.root,
            drop=evening.drop,
            reference_hz=evening.reference_hz,
        )
        self.host.accept(moves.choose(wanted, self.host.at))

    acts: ClassVar[dict[type[Asked], Act]] = {
        asks.OpenSet: _take,
        asks.NextSong: _next,
        asks.PreviousSong: _previous,
        asks.ShowNext: _show_next,
        asks.EditSet: _edit,
        asks.SaveSet: _save,
        asks.CopySet: _copy,
        asks.TakeRig: _take_rig,
    }


def _set(name: str, at: Standing) -> SetList:
    """A set by its listed name, or the page's own. Raises BadPreset."""
    if name == PAGE:
        return set_of_setup(at.setting, at.rig.instrument, PAGE, PAGE_TITLE)
    found: SetList = shelf.take("sets", name)
    return found


def _written(evening: SetList) -> int | None:
    try:
        return Path(evening.file).stat().st_mtime_ns if evening.file else None
    except OSError:  # gone, or on a stick that was pulled out
        return 0


def _no_songs(name: str = "") -> SetList:
    return SetList(name, "", ())
