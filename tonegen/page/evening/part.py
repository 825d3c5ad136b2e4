"""The part of the page that goes through an evening's set, from song to song."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, ClassVar

from msgspec import Struct
from msgspec.structs import replace

from tonegen.errors import BadValue, TonegenError
from tonegen.page import shelf
from tonegen.page.asked import Asked
from tonegen.page.evening import asks
from tonegen.page.evening.changing import (
    PressLearned,
    SetRows,
    press_learned,
    rows_of_file,
    rows_of_page,
    songs_of_page,
    write,
)
from tonegen.page.evening.stands import EveningView, RigView, names_bar, other_rig, receiver_views, views
from tonegen.page.part import Act, Done, Host, Part, Standing
from tonegen.page.play import moves
from tonegen.page.play.asks import Choose
from tonegen.page.setting import Playing
from tonegen.presets.own import copy_preset, save_songs
from tonegen.presets.sets import PAGE
from tonegen.setlist.presses import Presses
from tonegen.setlist.records import Action, SetList
from tonegen.setlist.states import SongState, states
from tonegen.setup import moves as hands_moves
from tonegen.setup.evening import PAGE_TITLE, set_of_setup

if TYPE_CHECKING:
    from tonegen.keys.set_bench import SetStanding
    from tonegen.page.evening.rig import PlayedRig, Press

_PRESSED = "page"  # all tablets are one foot: two that press together go on once


class EveningPart(Part):
    """The set that is open, and where in it the player is. Its file is read when it is opened, not while it
    is gone through; the page's own list is as it stands.

    While its receivers are tuned they decide which song it is: feet reach them without the page.
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
        self._rig: PlayedRig | None = None
        self._shown_rig: RigView | None = None
        self._travels: Mapping[str, float] = {}  # of the page's pedals, as the receivers know them

    def shown(self) -> Iterable[Struct]:
        """The set as it was left."""
        if self._evening is None:
            self._open(self.host.at.playing.evening)
        self._shown, self._shown_rig = self._view(), self._rig_view()
        return self._shown, self._shown_rig

    def follow(self, at: Standing) -> None:
        """The page's own list may have changed, or the bar was brought to another song of the set."""
        if self._evening is None:
            return
        if self._evening.name != at.playing.evening or self._own_list(at) != self._listed:
            self._open(at.playing.evening)
        elif not self._is_tuned and self._place_of(at.playing) not in (-1, self._presses.place):
            self._presses = Presses(self._evening, self._place_of(at.playing))
        self._follow_pedals(at)
        self._show()

    async def close(self) -> None:
        """Put the receivers back."""
        if self._rig is not None:
            await self._rig.close()

    def _show(self) -> None:
        view, rig = self._view(), self._rig_view()
        if view != self._shown:
            self._shown = view
            self.host.post(view)
        if rig != self._shown_rig:
            self._shown_rig = rig
            self.host.post(rig)

    def _rig_view(self) -> RigView:
        evening, rig = self._evening or _no_songs(), self._rig
        if rig is None:
            return RigView("", receiver_views(evening, None))
        state = None if rig.standing is None else rig.standing.state
        return RigView(rig.status, receiver_views(evening, state), rig.inputs)

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
        self._check_untuned("open another set")
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
        if self._rig is not None and self._is_tuned:
            self._rig.press(action)
            return
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
        if self._rig is not None and self._is_tuned:
            self._rig.load(asked.number)
            return
        self._words = self._presses.load(asked.number, monotonic()).why
        self._show()

    # -- its receivers ---------------------------------------------------------------------------------

    @property
    def _is_tuned(self) -> bool:
        return self._rig is not None and self._rig.status == "played"

    def _check_untuned(self, what: str) -> None:
        """Raises BadValue while receivers are tuned, or on their way there or back."""
        if self._rig is not None and self._rig.status:
            raise BadValue(f"put the receivers back before you {what}")

    def _with_rig(self) -> "PlayedRig":
        if self._rig is None:
            from tonegen.page.evening.rig import PlayedRig

            self._rig = PlayedRig(self._stood, self._show, self.host.complain)
        return self._rig

    def _look_for_inputs(self, asked: asks.FindInputs) -> None:
        if not self._is_tuned:  # a press would wait behind it
            self._with_rig().look_for_ports()

    def _play(self, asked: asks.PlaySet) -> None:
        """From the song now, else from the one that is shown as the next."""
        evening, presses = self._evening or _no_songs(), self._presses
        if not evening.receivers:
            raise BadValue("this set has no receivers; add one under “Change the set”")
        if not evening.songs:
            raise BadValue("this set has no songs yet")
        place = presses.place if presses.place >= 0 else presses.next_place or 0
        self._travels = {}
        self._with_rig().play(evening, place, asked.without, asked.keyboards)

    def _hush(self, asked: asks.PanicSet) -> None:
        if self._rig is not None:
            self._rig.panic()

    def _put_back(self, asked: asks.PutSetBack) -> None:
        if self._rig is not None:
            self._rig.put_back()

    def _stood(self, standing: "SetStanding") -> None:
        """The receivers stand in a song: so does the page."""
        evening, state = self._evening or _no_songs(), standing.state
        place = evening.place_of(state["number"])
        next_place = None if state["next"] is None else evening.place_of(state["next_number"])
        if (place, next_place) != (self._presses.place, self._presses.next_place):
            goes = place != self._presses.place
            self._presses = Presses(evening, place)
            self._presses.next_place = next_place
            if goes:
                self._words = ""
                self._accept(self._played(self._states[place]))
        if standing.by_feet:
            self._take_pedals(standing.by_feet)
        if standing.told:
            self._words = " ".join(standing.told)
        self._follow_pedals(self.host.at)
        self._show()

    def _accept(self, done: Done) -> None:
        """What the page cannot follow is said; the receivers stand where they stand."""
        try:
            self.host.accept(done)
        except TonegenError as error:
            self.host.complain(str(error))

    def _has_the_steel(self, at: Standing) -> bool:
        return self._evening is not None and self._evening.instrument == at.setting.instrument

    def _follow_pedals(self, at: Standing) -> None:
        """What hands do to the page's pedals reaches the receivers that follow the steel."""
        travels = at.playing.travels
        if self._rig is None or not self._is_tuned or not self._has_the_steel(at) or travels == self._travels:
            return
        let_go = dict.fromkeys(self._travels, 0.0)
        self._travels = travels
        self._rig.move({**let_go, **travels})

    def _take_pedals(self, by_feet: Mapping[str, float]) -> None:
        """Pedals that feet moved at the set's controls move on the page as well."""
        at = self.host.at
        if not self._has_the_steel(at):
            return
        try:
            playing = hands_moves.stand(at.rig.instrument, at.playing, {**at.playing.travels, **by_feet})
        except TonegenError as error:
            self._words = str(error)
            return
        self._travels = playing.travels  # which the receivers know already
        self._accept(moves.plays(playing, at))

    # -- its file --------------------------------------------------------------------------------------

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
            raise BadValue("stop the sound first, then change the set")
        self._check_untuned("change the set")
        name = at.playing.evening
        if name == PAGE:
            if asked.stamp != self._rows().stamp:
                raise BadValue("the set list was changed meanwhile; look at it as it is now, then change it")
            songs, faults = songs_of_page(asked)
            if not faults:
                said = "The set list is saved. It is open here, and on Play."
                self.host.accept(at.sets("set list changed", said=said, songs=songs))
        elif not (faults := write(name, asked)):
            self._reopen(name)
            self.host.tell(f"{name} is saved, and open here as it is now.")
        self.host.post(replace(self._rows(), faults=faults, by=asked.by))

    def _learn(self, asked: asks.LearnPress) -> None:
        def heard() -> None:
            self.host.post(PressLearned(asked.by, waits=True))

        def learned(fields: "Press | str | None") -> None:
            self.host.post(press_learned(asked.by, fields))

        self._with_rig().read_press(asked.does, heard, learned)

    def _stop_waiting(self, asked: asks.StopWaiting) -> None:
        if self._rig is not None:
            self._rig.stop_waiting()

    def _copy(self, asked: asks.CopySet) -> None:
        self._check_untuned("open another set")
        name, new_name = self.host.at.playing.evening, asked.name.strip()
        if name == PAGE:
            save_songs(_set(PAGE, self.host.at), new_name)
        else:
            copy_preset("sets", name, new_name)
        self._reopen(new_name)
        self.host.tell(f"Saved as {new_name}. It is open here; change it as you like.")
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
        asks.LearnPress: _learn,
        asks.StopWaiting: _stop_waiting,
        asks.CopySet: _copy,
        asks.TakeRig: _take_rig,
        asks.FindInputs: _look_for_inputs,
        asks.PlaySet: _play,
        asks.PanicSet: _hush,
        asks.PutSetBack: _put_back,
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
