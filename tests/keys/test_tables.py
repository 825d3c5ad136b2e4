"""Receivers tuned by tables while they are played: what sounds stays, what begins is in the new tuning."""

from math import inf

import msgspec
import pytest

from tests.keys.dense import SECONDS, Music, made_by, moving_desk, perform
from tests.keys.listener import TableEar
from tonegen.keys import midi
from tonegen.keys.cable import Cable
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_classes
from tonegen.keys.tables import Tables

RELEASE_SECONDS = 2.0  # what the presets have
ENDED_JUST_NOW = 0.05  # the program counts a note's ring on its own clock, a cable's length away
JUST = (0, -29.3, 3.9, 15.6, -13.7, -2, -9.8, 2, 13.7, -15.6, 17.6, -11.7)
PYTHAGOREAN = (0, 13.7, 3.9, -5.9, 7.8, -2, 11.7, 2, 15.6, 5.9, -3.9, 9.8)


def preset(name):
    """A receiver by its name; "obeying" is one that leaves sounding notes alone, as the standard has it."""
    if name == "obeying":
        return msgspec.structs.replace(receiver("mts-octave"), real_time=False)
    return receiver(name)


class Stage:
    """A sender, the cable and the receiver; what was played when, and what it should have been."""

    def __init__(self, name, sender=Tables, obeys=None):
        self.receiver = preset(name)
        self.name = name
        self.desk = moving_desk(self.receiver)
        self.ear = TableEar(
            RELEASE_SECONDS, name == "obeying" if obeys is None else obeys, self.receiver.midi_channels
        )
        self.now = 0.0
        self.between = False
        self.under_way = []  # when each message that went out between notes will have arrived
        self.waited = []  # bytes of those that were still under way when a note was struck
        self.late = []  # notes in an old tuning that might have had the new
        self.made = made_by(self.desk)
        for message in self.made.messages:
            self.ear.send(message, -1.0)
        self.ear.bytes_of_tables = 0
        self.ear.free_at = 0.0
        self.tables = sender(self.made, Cable(self.send))
        self.settled_at = -inf

    def send(self, message):
        arrived = self.ear.send(message, self.now)
        if self.between:
            self.under_way.append((arrived, len(message)))

    def receive(self, message, now):
        self.now = now
        if message[0] & 0xF0 == 0x90 and message[2]:
            self.under_way = [one for one in self.under_way if one[0] > now]
            self.waited.append(sum(size for _, size in self.under_way))
        before, notes = len(self.ear.begun), dict(self.ear.notes)
        self.tables.receive(message, now)
        for at, key, cents in self.ear.begun[before:]:
            if not self._had_to_stay(key, notes, at):
                left = abs(cents - self.made.sent_cents[key])
                if left > 0.01:
                    self.late.append((at, key, left))

    def _had_to_stay(self, key, notes, at):
        """Whether a note that sounded would have moved with this one."""
        if self.ear.obeys:
            return False
        alike = {"mts-single-note": lambda one: one == key, "mts-bulk": lambda one: True}.get(
            self.name, lambda one: one % 12 == key % 12
        )
        bound = [note for note in notes.values() if alike(note.key)]
        until = max((note.until for note in bound), default=-inf)
        pause = 1.0 + 0.2 + 0.5 if self.name == "mts-bulk" else ENDED_JUST_NOW  # its rest, look and cable
        if self.name == "mts-bulk":
            until = max(until, self.last_sound)
            self.last_sound = max(self.last_sound, at + 0.001)
        return until + pause > at or (self.name == "mts-bulk" and self.settled_at + pause > at)

    last_sound = -inf

    def retune(self, made, now):
        self.now, self.made, self.settled_at = now, made, now
        if self.name == "mts-bulk":
            self.last_sound = max([self.last_sound, *(note.until for note in self.ear.notes.values())])
        self.tables.retune(made)

    def send_due(self, now):
        self.now, self.between = now, True
        again = self.tables.send_due(now)
        self.between = False
        assert again is None or again > now
        return again

    def play(self, music, until=lambda: False):
        perform(music, self.desk, self.receive, self.retune, self.send_due, until)
        return self

    def is_caught_in(self, seconds):
        """Whether it moves a note; what it does after that proves no more."""
        return bool(self.play(Music(seconds), lambda: self.ear.moved).ear.moved)


EVERY = ["mts-single-note", "mts-octave", "mts-octave-one-byte", "mts-bulk", "obeying"]


@pytest.mark.parametrize("name", EVERY)
@pytest.mark.parametrize("channels", [(0,), (0, 3, 9)], ids=["one hand", "hands and drums"])
def test_a_dense_player_hears_no_note_move_and_no_old_tuning(name, channels):
    stage = Stage(name).play(Music(SECONDS, channels=channels))

    assert len(stage.ear.begun) > 5 * SECONDS
    assert stage.ear.moved == []
    assert stage.late == []


@pytest.mark.parametrize("name", ["mts-single-note", "mts-octave", "mts-octave-one-byte", "obeying"])
def test_a_note_waits_behind_one_short_message_at_most(name):
    stage = Stage(name).play(Music(SECONDS, seed=2))

    assert max(stage.waited) <= 33
    assert any(stage.waited) or name != "mts-single-note"


class ForgetsTheSustainPedal(Tables):
    def _control(self, number, controller, value):
        if controller != midi.SUSTAIN:
            super()._control(number, controller, value)


class ForgetsHeldKeys(Tables):
    def _strike(self, number, key, now):
        super()._strike(number, key, now)
        self._channels[number].release(key)
        self._end(number, self._channels[number].let_go())


class TunesWhatRings(Tables):
    def __init__(self, made, cable):
        super().__init__(made, cable)
        self._release_seconds = 0.0


class TunesWhileNotesSound(Tables):
    def _may_go(self, unit, now):
        return True


class SendsItAllAtOnce(Tables):
    """What the program did before it looked at what sounds."""

    def retune(self, made):
        for message in made.tuning:
            self._pass(message, 0.0)


class NeverBringsAChangeAlong(Tables):
    def __init__(self, made, cable):
        super().__init__(made, cable)
        self._table.with_a_note = False


BROKEN = [ForgetsTheSustainPedal, ForgetsHeldKeys, TunesWhatRings, TunesWhileNotesSound, SendsItAllAtOnce]


@pytest.mark.parametrize("sender", BROKEN)
@pytest.mark.parametrize("name", ["mts-single-note", "mts-octave", "mts-octave-one-byte", "mts-bulk"])
def test_a_sender_that_moves_notes_is_caught(name, sender):
    assert Stage(name, sender).is_caught_in(27.0)


def test_a_sender_that_plays_in_an_old_tuning_is_caught():
    assert Stage("mts-single-note", NeverBringsAChangeAlong).play(Music(9.0)).late


def test_a_receiver_that_does_not_obey_the_standard_is_caught():
    assert Stage("obeying", obeys=False).is_caught_in(27.0)


@pytest.mark.parametrize("name", ["mts-single-note", "mts-octave"])
def test_only_what_changes_is_sent(name):
    """Pedal A moves two strings of ten and the cabinet: less goes out than the table has, and back again."""
    stage = Stage(name)
    whole = sum(map(len, stage.made.tuning))
    for at, travel in ((1.0, 0.5), (2.0, 0.0)):
        stage.desk.engage("A", travel)
        stage.retune(made_by(stage.desk), at)
        due = at
        while due is not None:
            due = stage.send_due(due)

    assert [stage.ear.listener.table_cents(1, key) for key in range(21, 109)] == pytest.approx(
        stage.made.sent_cents[21:109].tolist(), abs=0.01
    )
    assert 0 < stage.ear.bytes_of_tables <= 2 * whole


class Sender:
    """A sender with two plain plans, and what it sent in words of the trade."""

    def __init__(self, name, first=JUST):
        self.receiver = preset(name)
        self.out = []
        self.tables = Tables(self.plan(first), Cable(self.out.append))

    def plan(self, cents):
        return plan(scale_of_classes("", cents), self.receiver)

    def play(self, text, now):
        self.tables.receive(bytes.fromhex(text), now)

    def tuned(self):
        """Keys or pitch classes of the tuning messages since the last look."""
        sent = [midi.parse_tuning(message).keys for message in self.out if message[0] == 0xF0]
        self.out.clear()
        return sent


def test_single_notes_go_out_six_at_a_time_at_the_cable_s_speed():
    cable = Sender("mts-single-note")
    cable.tables.retune(cable.plan(PYTHAGOREAN))
    now, sent = 0.0, []
    while now is not None:
        began = now
        now = cable.tables.send_due(now)
        (keys,) = cable.tuned()
        sent += keys
        assert len(keys) <= 6
        assert now is None or now == pytest.approx(began + (8 + 4 * len(keys)) * 10 / 31250)

    alike = {0, 2, 5, 7}  # C, D, F and G stand alike in both
    assert sorted(sent) == [key for key in range(128) if key % 12 not in alike]


def test_a_key_that_has_not_been_sent_brings_its_change_right_before_its_note():
    cable = Sender("mts-single-note")
    cable.tables.retune(cable.plan(PYTHAGOREAN))
    cable.play("90 40 40", 0.0)

    tuning, note = cable.out
    assert midi.parse_tuning(tuning).keys == (64,)
    assert midi.parse_tuning(tuning).offset_cents == pytest.approx((7.8,), abs=0.004)
    assert note == b"\x90\x40\x40"


def test_a_held_key_is_sent_when_its_ring_is_over():
    """Struck at 0, let go at 5, it rings two seconds more."""
    cable = Sender("mts-single-note")
    cable.play("90 40 40", 0.0)
    cable.tables.retune(cable.plan(PYTHAGOREAN))
    now = 0.0
    while now < 5.0:
        now = cable.tables.send_due(now)
    assert 64 not in {key for keys in cable.tuned() for key in keys}

    cable.play("80 40 40", 5.0)
    cable.tables.send_due(6.9)
    assert cable.tuned() == []
    cable.play("90 40 40", 6.95)  # struck while it rings: it is the old note that goes on
    cable.play("80 40 40", 7.0)
    assert cable.tuned() == []
    cable.tables.send_due(9.1)
    assert cable.tuned() == [(64,)]


def test_an_octave_message_leaves_the_classes_that_sound_as_they_are():
    cable = Sender("mts-octave")
    cable.play("90 40 40", 0.0)  # an E
    cable.tables.retune(cable.plan(PYTHAGOREAN))
    cable.play("90 39 40", 0.5)  # an A
    tuning = midi.parse_tuning(cable.out[1])

    wanted = [*PYTHAGOREAN]
    wanted[4] = JUST[4]
    assert tuning.offset_cents == pytest.approx(wanted, abs=0.01)


def test_the_non_real_time_form_goes_out_while_notes_sound():
    cable = Sender("obeying")
    cable.play("90 40 40", 0.0)
    cable.tables.retune(cable.plan(PYTHAGOREAN))
    assert cable.tables.send_due(0.1) is None

    tuning = midi.parse_tuning(cable.out[1])
    assert not tuning.real_time
    assert tuning.offset_cents == pytest.approx(PYTHAGOREAN, abs=0.01)


def test_a_dump_waits_for_a_pause_in_the_playing():
    cable = Sender("mts-bulk")
    cable.play("90 40 40", 0.0)
    cable.play("80 40 40", 1.0)
    cable.tables.retune(cable.plan(PYTHAGOREAN))
    cable.tables.send_due(3.9)
    assert cable.tuned() == []
    cable.tables.send_due(4.1)
    assert cable.tuned() == [tuple(range(128))]


def test_a_receiver_that_needs_time_after_a_dump_is_given_it():
    """The dump's own time on the cable, and 0.2 s more, before the next may go."""
    cable = Sender("mts-bulk")
    cable.tables.retune(cable.plan(PYTHAGOREAN))
    cable.tables.send_due(10.0)
    (dump,) = cable.out
    cable.tables.retune(cable.plan(JUST))

    assert cable.tables.send_due(10.0) == pytest.approx(10.0 + len(dump) * 10 / 31250 + 0.2)


def test_a_receiver_that_came_back_is_set_up_and_tuned_again():
    cable = Sender("mts-single-note")
    cable.play("90 40 40", 0.0)
    cable.out.clear()
    cable.tables.start_over(1.0)
    set_up = len(cable.out)
    assert set_up == len(cable.plan(JUST).set_up)
    cable.play("90 40 40", 1.1)
    assert midi.parse_tuning(cable.out[set_up]).keys == (64,)
    cable.out.clear()
    now = 1.1
    while now is not None:
        now = cable.tables.send_due(now)

    assert sorted(key for keys in cable.tuned() for key in keys) == [key for key in range(128) if key != 64]


def test_a_receiver_that_came_back_has_nothing_of_what_it_was_sent_before():
    """Another tuning is chosen before it was sent again: keys that stand alike in both are sent as well."""
    cable = Sender("mts-single-note")
    cable.tables.start_over(0.0)
    cable.tables.retune(cable.plan(PYTHAGOREAN))
    cable.out.clear()
    now = 0.0
    while now is not None:
        now = cable.tables.send_due(now)

    assert sorted(key for keys in cable.tuned() for key in keys) == list(range(128))
