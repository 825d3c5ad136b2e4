"""Dense random playing through each receiver whose notes are retuned on their way, while the rig moves.

What is heard is told by a receiver written from the standards, apart from the code that is tested.
The long form: DENSE_SECONDS=120 python -m pytest tests/keys/test_dense_rotation.py
"""

from dataclasses import dataclass, field

import pytest

from tests.keys.dense import SECONDS, Music, made_by, moving_desk, perform
from tests.keys.listener import Listener
from tonegen.keys import midi
from tonegen.keys.channels import Channels
from tonegen.keys.receivers import receiver
from tonegen.keys.rotation import Rotation

RECEIVERS = ["twelve-channel-bend", "channel-tuning", "mpe", "mono-bend"]
LARGEST_MOVE_CENTS = 0.1


@dataclass
class Hearing:
    """What a listener has to complain of; notes that had to wait or give way are no faults, but counted."""

    made: object
    fixed: bool  # whether a note may have to wait for the new tune
    ear: Listener = field(default_factory=Listener)
    played: Listener = field(default_factory=Listener)  # the same keys, straight into a receiver
    struck: dict = field(default_factory=dict)  # channel, key -> cents above equal temperament, wheel apart
    wheel_cents: float = 0.0
    notes: int = 0
    waited: int = 0
    given_way: int = 0
    moved: list = field(default_factory=list)
    out_of_tune: list = field(default_factory=list)
    lowest_lost: list = field(default_factory=list)

    def send(self, message):
        """From the sender: a note-on is judged at this very moment."""
        full = {channel for channel, _ in self.ear.sounding()}
        count = len(self.ear.struck)
        self.ear.send(message)
        if len(self.ear.struck) > count:
            channel, key, pitch = self.ear.struck[-1]
            self.struck[channel, key] = offset = pitch - 100 * key - self.wheel_cents
            self.notes += 1
            if min(abs(offset - one) for one in self.wanted(key)) > LARGEST_MOVE_CENTS:
                if self.fixed and full >= set(self.made.receiver.channels):
                    self.waited += 1
                else:
                    self.out_of_tune.append((key, offset - self.made.sent_cents[key]))

    def wanted(self, key):
        """Offsets that a key may have; with a channel for each class those of its octaves too."""
        if not self.fixed:
            return [self.made.sent_cents[key]]
        return [self.made.sent_cents[key], *self.made.scale.key_cents[key % 12 :: 12]]

    def hears(self, message):
        """From the player, before the sender takes it."""
        kind = message[0] & 0xF0
        if kind == midi.BEND:
            self.wheel_cents = ((message[2] << 7 | message[1]) - 8192) / 8192 * 200
        elif kind == midi.CONTROL and message[1] == midi.RESET_CONTROLLERS:
            self.wheel_cents = 0.0
        self.before = {key for _, key in self.ear.sounding()}
        self.played.send(message)

    def judge(self):
        """After all that a message brought about."""
        for channel, key in self.ear.sounding():
            cents = self.ear.pitch_cents(channel, key) - 100 * key - self.wheel_cents
            if abs(cents - self.struck[channel, key]) > LARGEST_MOVE_CENTS:
                self.moved.append((channel, key, cents - self.struck[channel, key]))
        still = {key for _, key in self.played.sounding()}
        lost = (self.before & still) - {key for _, key in self.ear.sounding()}
        self.given_way += len(lost)
        if lost and len(self.before) > 1 and min(lost) == min(self.before):
            self.lowest_lost.append(min(lost))


def performed(name, seconds, sender=None):
    """What was heard of so many seconds of music, and the rotation that it went through.

    sender : stands between the rotation and the receiver, in place of none.
    """
    desk = moving_desk(receiver(name))
    hearing = Hearing(made_by(desk), name in ("twelve-channel-bend", "channel-tuning"))
    for message in hearing.made.messages:
        hearing.ear.send(message)
    send = sender(hearing.send) if sender else hearing.send
    rotation = Rotation(hearing.made, send)

    def receive(message, now):
        hearing.hears(message)
        rotation.receive(message, now)
        hearing.judge()

    def retune(made, _):
        hearing.made = made
        rotation.retune(made)

    perform(Music(seconds), desk, receive, retune)
    return hearing, rotation


@pytest.mark.parametrize("name", RECEIVERS)
def test_nothing_that_sounds_moves_and_what_is_new_is_in_the_new_tune(name):
    hearing, rotation = performed(name, SECONDS)

    print(f"{name}: {hearing.notes} notes, {hearing.waited} waited, {hearing.given_way} gave way")
    assert hearing.notes > 10 * SECONDS
    assert hearing.moved == []
    assert hearing.out_of_tune == []
    if name != "mono-bend":  # where each note ends the one before it
        assert hearing.lowest_lost == []
    if hearing.fixed:
        assert hearing.given_way == 0
    assert rotation.waited >= hearing.waited  # some as good as in tune
    assert rotation.clipped == 0
    assert rotation.active_voices == len(hearing.ear.sounding())
    rotation.finish(SECONDS)
    assert hearing.ear.sounding() == set(), "a note hangs"


# -- senders that are broken on purpose: each must be heard --------------------------------------------------


def test_a_sender_that_takes_no_free_channel_is_heard(monkeypatch):
    monkeypatch.setattr(
        Channels, "_choose", lambda channels, player, voice, now: channels.played[(voice & 0x7F) % 12]
    )

    hearing, _ = performed("twelve-channel-bend", 12)
    assert hearing.out_of_tune


def test_a_sender_that_bends_after_the_note_is_heard():
    def late(send):
        waiting = []

        def send_late(message):
            if message[0] & 0xF0 == midi.BEND:
                waiting.append(message)
                return
            send(message)
            while waiting:
                send(waiting.pop(0))

        return send_late

    hearing, _ = performed("mpe", 12, late)
    assert hearing.out_of_tune


@pytest.mark.parametrize("name", ["twelve-channel-bend", "channel-tuning", "mpe"])
def test_a_sender_that_forgets_the_sustain_pedal_is_heard(name, monkeypatch):
    """What only the pedal holds has ended for it: it brings their channels to new tunes."""

    def forget(rotation, pedals, down, now):
        pedals.sustain = False

    monkeypatch.setattr(Rotation, "_sustain_moved", forget)

    hearing, _ = performed(name, 12)
    assert hearing.moved
