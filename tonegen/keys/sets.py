"""A set worked out: what each receiver is sent in each song, what that waits for, and what it leaves.

All of it is there before the first byte goes out, for the whole evening, with everything that is wrong.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from msgspec import structs

from tonegen.errors import BadPreset, BadValue
from tonegen.frozen import Frozen
from tonegen.keys import midi
from tonegen.keys.dumps import scale_of_file
from tonegen.keys.leads import check_master, check_receiver, usual_following
from tonegen.keys.osc_port import parse_address
from tonegen.keys.plan import Plan, plan, undo_of
from tonegen.keys.receivers import (
    BendPerNote,
    KeyTuning,
    OctaveTuning,
    Osc,
    Receiver,
    check_together,
)
from tonegen.keys.receivers import receiver as load_receiver
from tonegen.keys.scale import Policy, Scale, anchored, scale_of_rig, scale_of_temperament, strings_of_rig
from tonegen.keys.stream import Splitter
from tonegen.keys.tables import changes_in_pieces
from tonegen.pitch import REFERENCE_HZ, song_key_name
from tonegen.presets.rows import Faults, in_row
from tonegen.setlist.records import (
    FollowKind,
    Follows,
    Lead,
    SetControl,
    SetList,
    SetReceiver,
    SetSong,
    SongSend,
)
from tonegen.setlist.states import SongState, states
from tonegen.setup.context import rig_asked_for
from tonegen.setup.moves import stand
from tonegen.setup.rig import Bare, Files, Rig, bare_of
from tonegen.setup.setting import Hands, Setup
from tonegen.temperament import on_root


@dataclass(frozen=True, slots=True, eq=False)
class SetPlan(Frozen):
    """A whole set with everything that it names loaded, and a plan for each receiver in each song.

    receivers : by their names in the set. plans : of each song, by receiver; where a tuning cannot be held
    there is none, and `faults` says why.
    stored : of a receiver that keeps all its tunings beside each other, one plan for each of them.
    faults : what is wrong, with file, line, row and key. cautions : what may surprise.
    """

    evening: SetList
    rig: Rig | Bare
    receivers: Mapping[str, Receiver]
    states: tuple[SongState, ...]
    plans: tuple[Mapping[str, Plan], ...]
    stored: Mapping[str, tuple[Plan, ...]] = field(default_factory=dict)
    faults: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    def checked(self) -> "SetPlan":
        """The same. Raises BadPreset with the first of its faults."""
        if self.faults:
            raise BadPreset(self.faults[0])
        return self

    def start(self, name: str, place: int = 0) -> tuple[bytes, ...]:
        """All that tunes a receiver for the song at a place, when the evening begins there."""
        made = self.plans[place][name]
        if name not in self.stored:
            return made.messages
        return (*(message for one in self.stored[name] for message in one.tuning), *made.set_up)

    def change(self, name: str, before: int, place: int) -> tuple[bytes, ...]:
        """What a receiver in which nothing sounds is sent to go from one song's tuning to another's."""
        then, now = self.plans[before][name], self.plans[place][name]
        if name in self.stored:
            return now.set_up if now.receiver != then.receiver else ()
        if isinstance(now.receiver, KeyTuning | OctaveTuning):
            return changes_in_pieces(then, now)
        return now.changes_from(then)

    def sends(self, name: str, before: int | None, place: int) -> tuple[bytes, ...]:
        """What a song sends to a receiver besides its tuning, after the one at `before`; None for none."""
        earlier = None if before is None else self.states[before]
        sends = self.states[place].sends_after(earlier).get(name, ())
        return tuple(message for one in sends for message in messages_of(one, self.receivers[name]))

    def moved(self, place: int, travels: Mapping[str, float]) -> dict[str, Plan]:
        """Plans of what follows the steel in a song, with its pedals and levers at these travels.

        Not of those that keep their tunings beside each other: they have none for it. Raises BadValue for
        pedals that do not go together.
        """
        state, rig = self.states[place], self.rig
        if isinstance(rig, Bare):
            return {}
        hands = stand(rig.instrument, Hands(fret=state.fret), travels)
        scale = scale_of_rig(rig, hands, follow=True, grips=state.grips, policy=_policy(state))
        return {
            name: plan(heard_by(scale, self.evening.receiver(name)), self.receivers[name])
            for name, follows in state.follows.items()
            if follows.kind is FollowKind.STEEL and name not in self.stored
        }

    def strings(self, place: int, travels: Mapping[str, float]) -> tuple[tuple[int, float], ...]:
        """Key and offset of each string of the steel in a song, with its pedals and levers at these travels.

        Raises BadValue for pedals that do not go together.
        """
        if isinstance(self.rig, Bare):
            return ()
        fret = Hands(fret=self.states[place].fret)
        return strings_of_rig(self.rig, stand(self.rig.instrument, fret, travels))

    def undo(self, name: str) -> tuple[bytes, ...]:
        """What puts a receiver back, whatever song it stands in."""
        programs = [one.receiver for one in self.stored.get(name, ())]
        others = (message for one in programs[1:] for message in undo_of(one))
        return (*others, *undo_of(self.receivers[name]))


def set_plan(evening: SetList) -> SetPlan:
    """Work out a whole set; what cannot be had is among its faults."""
    return _SetWork(evening).done()


def set_of_one_song(
    plans: Mapping[str, Plan],
    where: Mapping[str, str],
    controls: tuple[SetControl, ...] = (),
) -> SetPlan:
    """A set that is in no file: receivers by name, each with its plan and its door, and one song."""
    receivers = tuple(
        SetReceiver(name, name, where[name], Follows(FollowKind.TEMPERAMENT, made.scale.name))
        for name, made in plans.items()
    )
    evening = SetList("", "", (SetSong("", 1),), receivers, controls)
    loaded = {name: made.receiver for name, made in plans.items()}
    return SetPlan(evening, Bare(), loaded, states(evening), (plans,))


def messages_of(one: SongSend, receiver: Receiver) -> tuple[bytes, ...]:
    """What a song sends, as MIDI messages; a program for all channels goes to each, in a zone to its manager.

    Source: MPE 1.1, section 2.3: program changes go to the manager channel.
    """
    if one.program is None:
        return tuple(Splitter().feed(one.other))
    manager = receiver.manager if isinstance(receiver, BendPerNote) else None
    usual = receiver.midi_channels if manager is None else (manager,)
    channels = usual if one.channel is None else (one.channel,)
    return tuple(
        message for channel in channels for message in midi.program_change(channel, one.program, one.bank)
    )


def _policy(state: SongState) -> Policy:
    """Grips that a song names lead."""
    return Policy.GRIP_FIRST if state.grips else Policy.MEAN


def heard_by(scale: Scale, receiver: SetReceiver) -> Scale:
    """The same scale, in which only those keys count that a receiver plays, where it has a zone."""
    low, high = (key + receiver.transpose for key in receiver.from_keys)
    heard = tuple(key for key in scale.heard_keys if low <= key <= high)
    return replace(scale, heard_keys=heard or scale.heard_keys)


class _SetWork:
    """A set while it is worked out: scales and plans that several songs share are made once."""

    def __init__(self, evening: SetList) -> None:
        self._evening = evening
        self._shelf = Files()
        self._scales: dict[object, Scale] = {}
        self._plans: dict[object, Plan | None] = {}
        self._faults = Faults()
        self._cautions: list[str] = []

    def done(self) -> SetPlan:
        evening = self._evening
        rig = self._rig()
        receivers = self._receivers()
        there = states(evening)
        plans: list[dict[str, Plan]] = [{} for _ in there]
        for name, receiver in receivers.items():
            for place, state in enumerate(there):
                if isinstance(rig, Bare) and state.follows[name].kind is FollowKind.STEEL:
                    continue  # why there is no steel is among the faults
                with self._row(f"songs[{place}].follows"):
                    if made := self._plan(rig, name, receiver, state):
                        plans[place][name] = made
        self._check_leads(receivers, plans)
        for place, song in enumerate(evening.songs):
            for name, sends in song.sends.items():
                for one in sends if name in receivers else ():
                    key = "program" if one.program is not None else "bytes"
                    with self._row(f"songs[{place}].sends[{one.row}].{key}"):
                        _check_send(name, one, receivers[name])
        stored = {name: programs for name in receivers if (programs := self._stored(name, receivers, plans))}
        return SetPlan(
            evening, rig, receivers, there, tuple(plans), stored,
            tuple(self._faults), tuple(dict.fromkeys(self._cautions)),
        )  # fmt: skip

    @contextmanager
    def _row(self, field: str) -> Iterator[None]:
        """Note what is refused inside, with its place in the file."""
        with self._faults.noted(), in_row(Path(self._evening.file or self._evening.name), field):
            yield

    def _rig(self) -> Rig | Bare:
        evening = self._evening
        rig: Rig | Bare = Bare()
        with self._row("instrument"):
            if evening.instrument:
                rig, _ = rig_asked_for(
                    evening.instrument, evening.temperament, evening.root, evening.drop, evening.reference_hz
                )
            else:
                reference_hz = evening.reference_hz or REFERENCE_HZ
                rig = bare_of(Setup("", evening.temperament, evening.root, reference_hz=reference_hz))
        return rig

    def _check_leads(self, receivers: Mapping[str, Receiver], plans: Sequence[Mapping[str, Plan]]) -> None:
        """Note whose chords cannot be led: at all, or by what a song follows, in the row that says it."""
        for index, one in enumerate(self._evening.receivers):
            if one.lead is Lead.OFF or one.name not in receivers:
                continue
            row, following, checked = f"receivers[{index}].follow", usual_following(one.lead), set[int]()
            with self._row(row):
                check_receiver(receivers[one.name], following)
                for place, song in enumerate(self._evening.songs):
                    if one.name in song.follows:
                        row = f"songs[{place}].follows"
                    made = plans[place].get(one.name)
                    if made is not None and id(made) not in checked:
                        checked.add(id(made))
                        with self._row(row):
                            check_master(made, one.lead, following)

    def _receivers(self) -> dict[str, Receiver]:
        found: dict[str, Receiver] = {}
        at_port: dict[str, dict[str, Receiver]] = defaultdict(dict)
        for index, one in enumerate(self._evening.receivers):
            with self._row(f"receivers[{index}].receiver"):
                loaded = load_receiver(one.receiver)
                if isinstance(loaded, Osc) != one.where.startswith("osc "):
                    cure = "OSC; give to" if isinstance(loaded, Osc) else "MIDI; give port"
                    raise BadValue(f"{one.receiver} is sent {cure}")
                found[one.name] = loaded
            same = at_port[one.where.casefold()]
            if isinstance(found.get(one.name), Osc):
                with self._row(f"receivers[{index}].to"):
                    _check_address(one, loaded, same)
            elif one.name in found:
                with self._row(f"receivers[{index}].port"):
                    check_together({**same, one.name: loaded})
            if one.name in found:
                same[one.name] = loaded
        return found

    def _plan(self, rig: Rig | Bare, name: str, receiver: Receiver, state: SongState) -> Plan | None:
        """The plan of a receiver; none where the same was refused in an earlier song, which is told once."""
        follows = state.follows[name]
        steel = (round(state.fret), state.grips) if follows.kind is FollowKind.STEEL else ()
        asked = (name, follows, steel)
        if asked not in self._plans:
            self._plans[asked] = None
            if (follows, steel) not in self._scales:
                self._scales[follows, steel] = self._scale(rig, follows, state)
            scale = heard_by(self._scales[follows, steel], self._evening.receiver(name))
            self._plans[asked] = plan(scale, receiver)
        return self._plans[asked]

    def _scale(self, rig: Rig | Bare, follows: Follows, state: SongState) -> Scale:
        if follows.kind is FollowKind.STEEL:
            assert isinstance(rig, Rig)
            return scale_of_rig(
                rig, Hands(fret=state.fret), follow=False, grips=state.grips, policy=_policy(state)
            )
        if follows.kind is FollowKind.DUMP:
            scale, cautions = scale_of_file(Path(follows.name), rig.reference_hz)
            self._cautions += cautions
            return scale
        if follows.on_key and follows.root is None:
            raise BadValue(
                f"{follows.name} is built on the key, and no song has named one yet; give it a key"
            )
        root = follows.root or 0
        built = on_root(self._shelf.take("temperaments", follows.name), root)
        scale = scale_of_temperament(built, rig.reference_hz)
        if any(scale.class_cents):
            scale = replace(scale, name=f"{built.name} on {song_key_name(root)}")
        return anchored(scale, self._evening.anchor, root)

    def _stored(
        self, name: str, receivers: Mapping[str, Receiver], plans: Sequence[dict[str, Plan]]
    ) -> tuple[Plan, ...]:
        """Give each tuning a program of its own, where the receiver keeps several; `plans` has them then."""
        receiver = receivers[name]
        if not isinstance(receiver, KeyTuning) or receiver.programs == 1:
            return ()
        tunings = {midi.key_words(song[name].aim_cents): song[name].scale for song in plans if name in song}
        if len(tunings) > receiver.programs:
            self._cautions.append(
                f"{name}: the songs need {len(tunings)} tunings, and it keeps {receiver.programs}; "
                "each is dumped when its song comes."
            )
            return ()
        programs = {
            words: plan(scale, structs.replace(receiver, program=receiver.program + place))
            for place, (words, scale) in enumerate(tunings.items())
        }
        for song in plans:
            if name in song:
                song[name] = programs[midi.key_words(song[name].aim_cents)]
        return tuple(programs.values())


def _check_address(one: SetReceiver, receiver: Receiver, there: Mapping[str, Receiver]) -> None:
    """Raises BadValue where OSC cannot be sent, or another receiver there takes the same messages."""
    where = one.where.removeprefix("osc ")
    _, port = parse_address(where)
    if not port:
        raise BadValue(f'"{where}" has no usable port; give the one that the receiver listens on, 1 to 65535')
    for name, other in there.items():
        if isinstance(receiver, Osc) and isinstance(other, Osc) and receiver.address == other.address:
            raise BadValue(f"{one.name} and {name} are both sent {other.address} there; leave one out")


def _check_send(name: str, one: SongSend, receiver: Receiver) -> None:
    """Raises BadValue for what a receiver cannot be sent."""
    if isinstance(receiver, Osc):
        raise BadValue(f"{name} is sent OSC, and knows neither programs nor MIDI bytes; leave this out")
    if b"".join(Splitter().feed(one.other)) != one.other:
        raise BadValue(
            f"{one.other[:12].hex(' ')} is no whole MIDI message; each needs its status and all its data, "
            'such as "B0 07 64"'
        )
