"""Note rotation: any sequence of messages leaves no note hanging and none at a wrong pitch."""

import msgspec
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from tests.keys.listener import Listener
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.rotation import Rotation
from tonegen.keys.scale import scale_of_classes

JUST = scale_of_classes("just", (0, -29.3, 3.9, 15.6, -13.7, -2, -9.8, 2, 13.7, -15.6, 17.6, -11.7))
MEANTONE = scale_of_classes("meantone", (10, -14, 3, 20, -3, 14, -10, 7, -17, 0, 17, -7))
CLASS_CENTS = [(float(JUST.class_cents[one]), float(MEANTONE.class_cents[one])) for one in range(12)]
RECEIVERS = {
    "mpe": msgspec.structs.replace(receiver("mpe"), untouched=()),  # all fifteen members
    **{name: receiver(name) for name in ("twelve-channel-bend", "mono-bend", "channel-tuning")},
}
PLANS = {(name, scale.name): plan(scale, RECEIVERS[name]) for name in RECEIVERS for scale in (JUST, MEANTONE)}
HALF_STEP = {"mpe": 0.0184, "twelve-channel-bend": 0.0184, "mono-bend": 0.0184, "channel-tuning": 0.0062}

keys = st.integers(48, 72)  # few enough that the same key comes back
players = st.sampled_from((0, 0, 0, 5))


class PlayedEvening(RuleBasedStateMachine):
    """A player at the keys, and what he should hear: kept beside, from the rules of a piano with pedals."""

    receiver = "mpe"
    players = (0,)

    @initialize()
    def set_up(self):
        self.scale = JUST
        self.made = PLANS[self.receiver, "just"]
        self.listener = Listener()
        for message in self.made.messages:
            self.listener.send(message)
        self.rotation = Rotation(self.made, self.listener.send)
        self.now = 100.0
        self.wheel = 0
        self.untuned = Listener()  # the same keys, straight into a receiver

    def play(self, *message):
        self.rotation.receive(bytes(message), self.now)
        self.untuned.send(bytes(message))

    @rule(
        key=keys, velocity=st.integers(1, 127), player=st.integers(0, 1), wait=st.sampled_from((0, 0, 0, 3))
    )
    def note_on(self, key, velocity, player, wait):
        self.now += wait
        player = self.players[player % len(self.players)]
        struck = len(self.listener.struck)
        before = self.goes_on_sounding(key)

        self.play(0x90 | player, key, velocity)

        assert len(self.listener.struck) == struck + 1
        _, sent, pitch = self.listener.struck[-1]
        assert sent == key
        if self.waits_for_room(before):
            return  # in an older tune; which one is the invariant's matter
        offset = self.scale.class_cents[key % 12]
        assert pitch == pytest.approx(100 * key + offset + self.wheel_cents, abs=HALF_STEP[self.receiver] * 2)

    def goes_on_sounding(self, key):
        """What a new strike of `key` leaves sounding: not itself, unless a pedal holds it."""
        ear = self.listener
        return {
            (channel, other)
            for channel, other in ear.sounding()
            if other != key or ear.sustain[channel] or other in ear.caught[channel]
        }

    def waits_for_room(self, before):
        """Whether all twelve channels are held, so that a new note may have to keep an older temperament."""
        fixed = self.receiver in ("twelve-channel-bend", "channel-tuning")
        return fixed and len({channel for channel, _ in before}) == 12

    @property
    def wheel_cents(self):
        return self.wheel / 8192 * 200

    @rule(key=keys, player=st.integers(0, 1), silent=st.booleans())
    def note_off(self, key, player, silent):
        player = self.players[player % len(self.players)]
        self.play((0x90 if silent else 0x80) | player, key, 0 if silent else 33)

    @rule(value=st.sampled_from((-8192, -700, 0, 0, 500, 8191)))
    def wheel_moves(self, value):
        self.wheel = value
        for player in self.players:
            self.play(0xE0 | player, (value + 8192) & 127, (value + 8192) >> 7)

    @rule(down=st.booleans())
    def sustain_pedal(self, down):
        for player in self.players:
            self.play(0xB0 | player, 64, 127 * down)

    @rule(down=st.booleans())
    def sostenuto_pedal(self, down):
        for player in self.players:
            self.play(0xB0 | player, 66, 127 * down)

    @rule(program=st.integers(0, 127))
    def program_change(self, program):
        self.play(0xC0 | self.players[0], program)
        assert all(self.listener.program[channel] == program for channel in self.receiver_channels)

    @property
    def receiver_channels(self):
        return self.made.receiver.midi_channels if len(self.players) == 1 else ()

    @rule()
    def all_notes_off(self):
        for player in self.players:
            self.play(0xB0 | player, 123, 0)

    @rule()
    def all_sound_off(self):
        for player in self.players:
            self.play(0xB0 | player, 120, 0)

    @rule()
    def reset_controllers(self):
        self.wheel = 0
        for player in self.players:
            self.play(0xB0 | player, 121, 0)

    @rule(just=st.booleans())
    def temperament_changes(self, just):
        before = self.pitches()
        self.scale = JUST if just else MEANTONE
        self.rotation.retune(PLANS[self.receiver, self.scale.name])
        assert self.pitches() == before, "sounding notes are not touched"

    def pitches(self):
        return {(c, key): self.listener.pitch_cents(c, key) for c, key in self.listener.sounding()}

    @invariant()
    def no_note_at_a_wrong_pitch(self):
        """Every note that sounds has its offset of one of the two temperaments, and the wheel."""
        if self.rotation.waited:  # in the tune nearest to its own
            return
        for (_, key), pitch in self.pitches().items():
            offset = pitch - 100 * key - self.wheel_cents
            error = min(abs(offset - cents) for cents in CLASS_CENTS[key % 12])
            assert error <= HALF_STEP[self.receiver] * 2

    @invariant()
    def the_same_keys_sound_as_without_retuning(self):
        """All of them where channels are fixed; a rotation may have stolen some."""
        tuned = {key for _, key in self.listener.sounding()}
        untuned = {key for _, key in self.untuned.sounding()}
        assert tuned <= untuned
        if self.receiver in ("twelve-channel-bend", "channel-tuning"):
            assert tuned == untuned

    @invariant()
    def active_voices_are_those_that_sound(self):
        assert self.rotation.active_voices == len(self.listener.sounding())

    def teardown(self):
        if hasattr(self, "rotation"):
            self.rotation.finish(self.now)
            assert self.listener.sounding() == set(), "a note hangs"
            assert self.rotation.active_voices == 0


def machine(receiver_name, players=(0,), examples=250):
    case = type(f"Playing_{receiver_name}", (PlayedEvening,), {"receiver": receiver_name, "players": players})
    test = case.TestCase
    test.pytestmark = [pytest.mark.long]
    test.settings = settings(max_examples=examples, stateful_step_count=40, deadline=None)
    return test


TestMpe = machine("mpe")
TestMpeOfTwoPlayers = machine("mpe", (0, 5), 150)
TestTwelveChannels = machine("twelve-channel-bend")
TestMono = machine("mono-bend", examples=100)
TestChannelTuning = machine("channel-tuning", examples=100)


def rig(name="mpe", spread=False):
    """A rotation into a receiver that is set up."""
    made = PLANS[name, "just"]
    listener = Listener()
    for message in made.messages:
        listener.send(message)
    listener.log.clear()
    return Rotation(made, listener.send, spread), listener


def test_free_channels_longest_unused_come_first():
    rotation, listener = rig()
    for place in range(15):
        rotation.receive(bytes((0x90, 40 + place, 80)), 0)
    for seconds, place in enumerate((7, 3, 11)):
        rotation.receive(bytes((0x80, 40 + place, 0)), 1 + seconds)
    struck = [channel for channel, _, _ in listener.struck]

    for key in (63, 59, 55):  # of the tunes that were released; another would share
        rotation.receive(bytes((0x90, key, 80)), 10)

    assert sorted(struck) == list(range(2, 17))
    assert [channel for channel, _, _ in listener.struck[15:]] == [struck[7], struck[3], struck[11]]


def test_a_released_note_keeps_its_bend_until_it_is_silent():
    rotation, listener = rig()
    rotation.receive(b"\x90\x40\x50", 0)
    rotation.receive(b"\x80\x40\x50", 0.1)
    ringing = listener.struck[0][0]
    for place in range(14):  # all the others, while it rings for two seconds
        rotation.receive(bytes((0x90, 72 + place, 80)), 0.2)

    assert ringing not in [channel for channel, _, _ in listener.struck[1:]]
    assert listener.pitch_cents(ringing, 64) == pytest.approx(6400 + JUST.class_cents[4], abs=0.02)


def test_when_all_are_busy_the_oldest_note_gives_way():
    rotation, listener = rig()
    for key in range(40, 55):
        rotation.receive(bytes((0x90, key, 80)), 0)
    rotation.receive(b"\x80\x29\x40", 1)
    rotation.receive(b"\x90\x29\x40", 9)  # 41 again: now the youngest
    rotation.receive(b"\x90\x38\x40", 9)  # 56: shares with 44, of its class
    rotation.receive(b"\x90\x27\x40", 9)  # 39: 51 is of its class
    assert {key for _, key in listener.sounding()} == {*range(40, 55), 56, 39}

    rotation.retune(PLANS["mpe", "meantone"])  # now no channel is in the right tune
    rotation.receive(b"\x90\x3c\x40", 9)

    assert {key for _, key in listener.sounding()} == {*range(41, 55), 56, 39, 60}
    rotation.receive(b"\x80\x28\x40", 10)  # the key of the stolen note comes up: nothing happens
    assert {key for _, key in listener.sounding()} == {*range(41, 55), 56, 39, 60}


def test_every_other_message_takes_the_right_way():
    """In a zone to the manager, programs to the members too; the rig is kept from what would undo it."""
    rotation, listener = rig()
    rotation.receive(b"\x90\x3c\x40", 0)
    listener.log.clear()
    for text in ("b0 07 64", "d0 30", "b0 40 7f", "f8", "f2 00 01"):
        rotation.receive(bytes.fromhex(text), 0)
    assert [message.hex(" ") for message in listener.log] == [
        "b0 07 64",
        "d0 30",
        "b0 40 7f",
        "f8",
        "f2 00 01",
    ]
    listener.log.clear()
    rotation.receive(b"\xc0\x05", 0)
    assert [message.hex() for message in listener.log] == [f"c{channel:x}05" for channel in range(16)]
    listener.log.clear()
    channel = listener.struck[0][0] - 1
    rotation.receive(b"\xa0\x3c\x22", 0)
    assert listener.log == [bytes((0xD0 | channel, 0x22))]
    listener.log.clear()
    for text in ("b0 65 00", "b0 64 06", "b0 06 05", "b0 65 00", "b0 64 00", "b0 06 0c", "b0 7e 01"):
        rotation.receive(bytes.fromhex(text), 0)
    assert all(message[0] & 0xF0 in (0x80, 0xB0) for message in listener.log)
    assert not any(message[1] in (6, 100, 101, 126) for message in listener.log if message[0] & 0xF0 == 0xB0)


def test_data_entry_passes_only_behind_a_parameter_that_passes():
    """Of NRPN 1 2, say; with nothing selected, or a bend range, it would be taken for the rig's own."""
    rotation, listener = rig("mono-bend")
    for text in ("b0 06 0c", "b0 65 00", "b0 64 00", "b0 06 0c", "b0 65 7f", "b0 64 7f", "b0 06 0c"):
        rotation.receive(bytes.fromhex(text), 0)
    assert listener.log == []

    for text in ("b0 63 01", "b0 62 02", "b0 06 0c"):
        rotation.receive(bytes.fromhex(text), 0)
    assert [message.hex(" ") for message in listener.log] == ["b0 63 01", "b0 62 02", "b0 06 0c"]


@pytest.mark.parametrize("name", ["mpe", "twelve-channel-bend"])
def test_all_notes_off_reaches_the_receiver_itself(name):
    """Notes may sound there that nobody here knows of: struck at its own keys, or before the cable went."""
    rotation, listener = rig(name)
    rotation.receive(b"\xb0\x7b\x00", 0)

    assert b"\xb0\x7b\x00" in listener.log


def test_the_wheel_follows_the_player_s_own_bend_range():
    rotation, listener = rig("twelve-channel-bend")
    rotation.receive(b"\x90\x40\x50", 0)
    for text in ("b0 65 00", "b0 64 00", "b0 06 01", "e0 00 60"):  # one semitone; half way up
        rotation.receive(bytes.fromhex(text), 0)

    (channel, key) = next(iter(listener.sounding()))
    assert listener.pitch_cents(channel, key) == pytest.approx(6400 + JUST.class_cents[4] + 50, abs=0.02)


def test_the_player_s_own_bend_range_has_cents():
    """RPN 0: the MSB is semitones, the LSB cents (MIDI 1.0)."""
    rotation, listener = rig("twelve-channel-bend")
    rotation.receive(b"\x90\x3c\x50", 0)
    for text in ("b0 65 00", "b0 64 00", "b0 06 01", "b0 26 32", "e0 00 60"):  # 1.5 semitones; half way up
        rotation.receive(bytes.fromhex(text), 0)

    (channel, key) = next(iter(listener.sounding()))
    assert listener.pitch_cents(channel, key) == pytest.approx(6000 + JUST.class_cents[0] + 75, abs=0.02)


def test_the_wheel_too_is_bent_further_where_a_bend_falls_short():
    """The receiver makes 127/128 of every bend, as some do."""
    short = msgspec.structs.replace(receiver("mpe"), bend_scale=127 / 128)
    out = []
    rotation = Rotation(plan(JUST, short), out.append)
    rotation.receive(b"\x90\x40\x50", 0)
    rotation.receive(b"\xe0\x7f\x7f", 0)
    bend = out[-1]

    made_cents = ((bend[2] << 7 | bend[1]) - 8192) / 8192 * 300 * 127 / 128
    assert made_cents == pytest.approx(JUST.class_cents[4] + 200 * 8191 / 8192, abs=0.02)


def test_pressure_goes_with_its_player_from_channel_to_channel():
    rotation, listener = rig("twelve-channel-bend", spread=True)
    pressure = [0] * 16
    for text in ("d0 50", "90 3c 40", "90 40 40", "91 43 40"):
        rotation.receive(bytes.fromhex(text), 1)
    struck = []
    for message in listener.log:
        if message[0] & 0xF0 == 0xD0:
            pressure[message[0] & 15] = message[1]
        elif message[0] & 0xF0 == 0x90:
            struck.append((message[1], pressure[message[0] & 15]))

    assert struck == [(0x3C, 0x50), (0x40, 0x50), (0x43, 0)]


def test_a_bank_is_followed_by_its_program_when_a_channel_changes_hands():
    """Both players ask for program 5, of different banks: a bank counts from the next program change on."""
    rotation, listener = rig("twelve-channel-bend", spread=True)
    for text in ("b0 00 01", "c0 05", "b1 00 02", "c1 05", "90 3c 40"):
        rotation.receive(bytes.fromhex(text), 1)
    listener.log.clear()
    rotation.receive(b"\x91\x43\x40", 1)
    (on,) = [message for message in listener.log if message[0] & 0xF0 == 0x90]
    channel = on[0] & 15
    before = listener.log[: listener.log.index(on)]

    assert before.index(bytes((0xB0 | channel, 0, 2))) < before.index(bytes((0xC0 | channel, 5)))


def test_volume_outlives_a_reset_of_the_controllers():
    """RP-015: volume and pan stay. Player 1 then wears all the channels, and player 0 comes back to one."""
    rotation, listener = rig("twelve-channel-bend", spread=True)
    for text in ("b0 07 50", "90 3c 40", "80 3c 40", "b0 79 00"):
        rotation.receive(bytes.fromhex(text), 0)
    for key in range(60, 72):
        rotation.receive(bytes((0x91, key, 64)), 10)
        rotation.receive(bytes((0x81, key, 64)), 10)
        assert listener.controls[listener.struck[-1][0]][7] == 100, "player 1 is at rest: General MIDI 2"
    rotation.receive(b"\x90\x3c\x40", 20)

    assert listener.controls[listener.struck[-1][0]][7] == 0x50


def test_full_wheel_leaves_a_chord_in_tune():
    rotation, listener = rig("twelve-channel-bend")
    for key in (60, 64, 67):
        rotation.receive(bytes((0x90, key, 80)), 0)
    rotation.receive(b"\xe0\x7f\x7f", 0)

    lifted = {key: listener.pitch_cents(channel, key) - 100 * key for channel, key in listener.sounding()}
    for key, cents in lifted.items():
        assert cents == pytest.approx(200 * 8191 / 8192 + JUST.class_cents[key % 12], abs=0.02)


def test_a_release_keeps_its_velocity():
    """A note-on of velocity 0 is a note-off of velocity 64 (MIDI 1.0)."""
    rotation, listener = rig("twelve-channel-bend")
    for text in ("90 3c 40", "80 3c 21", "90 3c 40", "90 3c 00"):
        rotation.receive(bytes.fromhex(text), 0)

    assert [message.hex(" ") for message in listener.log if message[0] & 0xF0 == 0x80] == [
        "80 3c 21",
        "80 3c 40",
    ]


def test_drums_pass_as_they_are():
    rotation, listener = rig("twelve-channel-bend")
    rotation.receive(b"\x99\x24\x50", 0)
    rotation.receive(b"\xe9\x24\x50", 0)

    assert listener.log == [b"\x99\x24\x50", b"\xe9\x24\x50"]


def test_a_reset_of_the_receiver_is_followed_by_its_tuning():
    rotation, listener = rig("twelve-channel-bend")
    rotation.receive(b"\x90\x40\x50", 0)
    listener.log.clear()
    rotation.receive(b"\xff", 1)

    assert listener.log == [b"\xff", *PLANS["twelve-channel-bend", "just"].messages]
    assert rotation.active_voices == 0


def test_a_zone_that_comes_back_has_its_pedals_as_they_were_left():
    """Two hands move them, each on a channel of its own; they stand where they were moved last."""
    rotation, listener = rig()
    for message in ("b0 42 7f", "b1 42 00", "b0 40 00", "b1 40 7f", "b0 42 7f"):
        rotation.receive(bytes.fromhex(message), 0.0)
    listener.sustain, listener.sostenuto = [False] * 17, [False] * 17
    rotation.start_over()

    assert (listener.sustain[1], listener.sostenuto[1]) == (True, True)


def test_each_player_keeps_his_sound_when_several_share_the_channels():
    rotation, listener = rig("twelve-channel-bend", spread=True)
    for text in ("c0 05", "b0 07 50", "c1 30", "b1 07 60"):
        rotation.receive(bytes.fromhex(text), 0)
    for place in range(6):
        for player in (0, 1):
            rotation.receive(bytes((0x90 | player, 60 + place + 7 * player, 80)), 1)

    sounds = [(listener.program[channel], listener.controls[channel][7]) for channel, _, _ in listener.struck]
    assert sounds == [(5, 0x50), (0x30, 0x60)] * 6
    for channel, key, pitch in listener.struck:
        assert pitch == pytest.approx(100 * key + JUST.class_cents[key % 12], abs=0.02), channel


def test_a_drummer_s_channel_is_given_no_notes_of_others():
    """Channel 10 plays drums in a receiver that knows no zones."""
    made = plan(JUST, receiver("mpe"))
    listener = Listener()
    rotation = Rotation(made, listener.send)
    for key in range(30, 60):
        rotation.receive(bytes((0x90, key, 80)), 0)

    assert {channel for channel, _, _ in listener.struck} == {*range(2, 17)} - {10}


def test_a_ringing_note_is_disturbed_later_than_a_channel_is_shared():
    """All but one are held and that one rings: a note in the tune of a held one goes there."""
    rotation, listener = rig()
    for place in range(15):
        rotation.receive(bytes((0x90, 60 + place, 80)), 0)
    rotation.receive(b"\x80\x40\x40", 1)  # E4 rings
    rotation.receive(b"\x90\x32\x40", 1.5)  # D3, while D4 and D5 are held
    d_channels = {channel for channel, key, _ in listener.struck if key in (62, 74)}
    assert listener.struck[-1][0] in d_channels

    rotation.receive(b"\x90\x34\x40", 4)  # the ring is over: the channel is free again
    assert listener.struck[-1][0] == listener.struck[4][0]


def test_a_keyboard_that_speaks_mpe_has_no_drum_channel():
    """It announces a zone of fifteen (RPN 6): each note bends by up to 48 semitones, on channel 10 too."""
    made = plan(JUST, receiver("mpe"))
    listener = Listener()
    for message in made.messages:
        listener.send(message)
    rotation = Rotation(made, listener.send)
    rotation.receive(b"\x99\x40\x50", 0)
    assert listener.struck[-1][:2] == (10, 64), "drums, as long as nothing else is said"
    rotation.receive(b"\x89\x40\x50", 0)
    for text in ("b0 65 00", "b0 64 06", "b0 06 0f", "e9 40 40", "99 40 50"):
        rotation.receive(bytes.fromhex(text), 0)

    channel, key, pitch = listener.struck[-1]
    assert channel != 10
    assert pitch == pytest.approx(100 * key + JUST.class_cents[4] + 64 / 8192 * 4800, abs=0.02)


def test_the_manager_s_wheel_bends_all_of_its_zone():
    """MPE 1.1: what a member's note is bent by is the sum of its own bend and of the manager's."""
    rotation, listener = rig()
    zone_of_five = ("b0 65 00", "b0 64 06", "b0 06 05")
    for text in (*zone_of_five, "91 40 50", "e2 40 40", "92 43 50", "e0 00 60", "93 48 50"):
        rotation.receive(bytes.fromhex(text), 0)

    def bends():
        return {
            key: listener.pitch_cents(channel, key) - 100 * key - JUST.class_cents[key % 12]
            for channel, key in listener.sounding()
        }

    by_manager, by_member = 200 / 2, 4800 * 64 / 8192
    assert bends() == pytest.approx({64: by_manager, 67: by_manager + by_member, 72: by_manager}, abs=0.05)

    rotation.receive(b"\xb0\x79\x00", 1)  # the manager's controllers are reset, the member's bend stays
    assert bends() == pytest.approx({64: 0, 67: by_member, 72: 0}, abs=0.05)

    for text in ("e0 00 60", "b0 65 00", "b0 64 06", "b0 06 00"):  # the zone is closed
        rotation.receive(bytes.fromhex(text), 2)
    assert bends() == pytest.approx({64: 0, 67: by_member, 72: 0}, abs=0.05)


def test_a_member_s_wheel_adds_to_its_manager_s():
    """The same the other way round: the manager's first, then the member's (MPE 1.1, C.1)."""
    rotation, listener = rig()
    for text in ("b0 65 00", "b0 64 06", "b0 06 05", "e0 00 60", "e2 40 40", "92 43 50"):
        rotation.receive(bytes.fromhex(text), 0)

    ((channel, key),) = listener.sounding()
    bent = listener.pitch_cents(channel, key) - 100 * key - JUST.class_cents[key % 12]
    assert bent == pytest.approx(200 / 2 + 4800 * 64 / 8192, abs=0.05)


def test_an_upper_zone_counts_down_from_its_manager():
    """Members of channel 16's zone are 15, 14, 13 (MPE 1.1, 2.1): each has a wheel of 48 semitones."""
    rotation, listener = rig()
    for text in ("bf 65 00", "bf 64 06", "bf 06 03", "ee 40 40", "9e 40 50", "ed 40 40", "9d 43 50"):
        rotation.receive(bytes.fromhex(text), 0)

    bends = {
        key: listener.pitch_cents(channel, key) - 100 * key - JUST.class_cents[key % 12]
        for channel, key in listener.sounding()
    }
    assert bends == pytest.approx({64: 4800 * 64 / 8192, 67: 4800 * 64 / 8192}, abs=0.05)


def test_a_sustain_pedal_is_down_from_64_on():
    """MIDI 1.0, table of controllers: 0 to 63 off, 64 to 127 on."""
    for value, holds in ((63, False), (64, True)):
        rotation, _ = rig()
        for message in (b"\x90\x40\x50", bytes((0xB0, 64, value)), b"\x80\x40\x50"):
            rotation.receive(message, 0)
        assert bool(rotation.active_voices) is holds


def test_pressure_is_gone_after_a_reset_of_the_controllers():
    """RP-015: channel pressure goes back to 0, for notes that follow as well."""
    rotation, listener = rig("twelve-channel-bend", spread=True)
    pressure = [0] * 16
    for text in ("d0 50", "90 3c 40", "b0 79 00", "80 3c 40"):
        rotation.receive(bytes.fromhex(text), 0)
    for key in range(60, 72):
        rotation.receive(bytes((0x90, key, 64)), 10)
    for message in listener.log:
        if message[0] & 0xF0 == 0xD0:
            pressure[message[0] & 15] = message[1]
        elif message[0] & 0xF0 == 0xB0 and message[1] == 121:
            pressure[message[0] & 15] = 0

    assert pressure == [0] * 16
