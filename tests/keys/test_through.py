"""Live playing, without a port: the messages of a long night, and each receiver's means."""

import queue
import random
from collections import Counter

import msgspec
import pytest

from tests.keys.listener import Listener
from tests.keys.rig import Through
from tonegen.keys.midi import parse_tuning
from tonegen.keys.osc import decode
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_classes
from tonegen.keys.stream import Splitter

JUST = scale_of_classes("just", (0, -29.3, 3.9, 15.6, -13.7, -2, -9.8, 2, 13.7, -15.6, 17.6, -11.7))
NIGHT_NOTES = 600_000  # 1,000 a second for ten minutes
PHRASE_NOTES = 6_000  # played again and again: it meets the channels in another state each time


def player(notes, seed=1):
    """Notes struck and released by up to ten fingers at random, pedals now and then."""
    fingers = random.Random(seed)
    held = []
    for _ in range(notes):
        if len(held) == 10:
            yield bytes((0x80, held.pop(fingers.randrange(10)), 64))
        key = fingers.choice([one for one in range(36, 96) if one not in held])
        held.append(key)
        yield bytes((0x90, key, 80))
    for key in held:
        yield bytes((0x80, key, 64))


@pytest.mark.long
@pytest.mark.parametrize("name", ["mpe", "twelve-channel-bend"])
def test_ten_minutes_of_a_thousand_notes_a_second(name):
    """At full speed through the real path: nothing lost, doubled or hung, each note with its bend."""
    sounding, struck, wrong = set(), Counter(), 0
    bends = [8192] * 16

    def send(message):
        nonlocal wrong
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == 0xE0:
            bends[channel] = message[2] << 7 | message[1]
        elif kind == 0x90:
            wrong += (channel, message[1]) in sounding or bends[channel] != expected[message[1] % 12]
            sounding.add((channel, message[1]))
            struck[message[1]] += 1
        elif kind == 0x80:
            sounding.remove((channel, message[1]))

    expected = [round(8192 + cents * 8192 / 300) for cents in JUST.class_cents]
    made = plan(JUST, receiver(name))
    through = Through(made, send)
    for message in made.messages:
        send(message)
    phrase = list(player(PHRASE_NOTES))
    receive = through.receive
    for _ in range(NIGHT_NOTES // PHRASE_NOTES):
        for message in phrase:
            receive(message)

    once = Counter(message[1] for message in phrase if message[0] == 0x90)
    assert wrong == 0
    assert struck.total() == NIGHT_NOTES
    assert struck == {key: count * NIGHT_NOTES // PHRASE_NOTES for key, count in once.items()}
    assert sounding == set()
    assert through.rotation.active_voices == 0


def test_bytes_off_a_cable_pass_whole():
    """Running status, a clock in the middle of a note, a sysex without its end."""
    listener = Listener()
    through = Through(plan(JUST, receiver("twelve-channel-bend")), listener.send)
    splitter = Splitter()
    for chunk in ("90 3c", "40 40 f8 40", "f0 01 02", "90 43 40", "3c 00 40 00 43 00"):
        for message in splitter.feed(bytes.fromhex(chunk)):
            through.receive(message)

    assert [key for _, key, _ in listener.struck] == [60, 64, 67]
    assert listener.sounding() == set()
    assert splitter.dropped == 1


def test_a_receiver_that_is_tuned_itself_gets_the_notes_as_they_are():
    made = plan(JUST, receiver("mts-octave"))
    out = queue.Queue()
    through = Through(made, out.put)
    played = [b"\x91\x3c\x40", b"\xe1\x00\x20", b"\xff"]
    for message in played:
        through.receive(message)

    wanted = [*played, *made.messages]
    assert [out.get(timeout=20) for _ in wanted] == wanted
    through.close()


def test_osc_plays_each_note_with_its_frequency():
    out = []
    through = Through(plan(JUST, receiver("osc-per-note")), out.append)
    for message in (b"\x90\x40\x7f", b"\x90\x43\x40", b"\x80\x40\x00", b"\x80\x50\x00", b"\xb0\x07\x64"):
        through.receive(message)
    through.finish()
    messages = [decode(packet)[0] for packet in out]

    assert [(one.address, one.arguments[0]) for one in messages] == [
        ("/note/on", 64), ("/note/on", 67), ("/note/off", 64), ("/note/off", 67),
    ]  # fmt: skip
    assert messages[0].arguments[1] == pytest.approx(440 * 2 ** (-5 / 12 - 13.7 / 1200), rel=1e-7)
    assert messages[0].arguments[2] == 1.0


def test_osc_says_channel_and_velocity_as_players_count_them():
    told = msgspec.structs.replace(receiver("osc-per-note"), arguments=("i {channel}", "f {velocity}"))
    out = []
    Through(plan(JUST, told), out.append).receive(b"\x92\x40\x7f")

    assert decode(out[0])[0].arguments == (3, 1.0)


@pytest.mark.parametrize(
    ("played", "heard"),
    [
        ("b0407f 90407f 804000 b04000", "on64 off64"),  # the sustain pedal
        ("90407f b0427f 90437f 804000 804300 b04200", "on64 on67 off67 off64"),  # sostenuto
        ("90407f 90407f 804000", "on64 off64 on64 off64"),  # struck again
        ("90407f b07b00", "on64 off64"),  # all notes off
        ("b0407f 90407f 804000 b07800", "on64 off64"),  # all sound off
        ("b0407f 90407f 804000 b07900", "on64 off64"),  # all controllers reset
        ("90407f 91407f 804000 814000", "on64 on64 off64 off64"),  # two hands on two channels
        ("b0407f 90407f 804000 b1407f b14000 b04000", "on64 off64"),  # a pedal is its own channel's
        ("b0427f 91407f b17b00 90407f 804000", "on64 off64 on64 off64"),
        ("90407f b17b00 b17800 b0407f b07800", "on64 off64"),  # modes are their own channel's
        ("b0407f b07800 90407f 804000 b04000", "on64 off64"),  # the pedal is still down
    ],
)
def test_osc_notes_follow_pedals_and_modes(played, heard):
    out = []
    through = Through(plan(JUST, receiver("osc-per-note")), out.append)
    for text in played.split():
        before = len(out)
        through.receive(bytes.fromhex(text))
    said = [
        f"{one.address.removeprefix('/note/')}{one.arguments[0]}" for packet in out for one in decode(packet)
    ]

    assert said == heard.split()
    assert len(out) == before + 1, "the last message ends the last note"


@pytest.mark.parametrize("name", ["mpe", "twelve-channel-bend", "mono-bend", "channel-tuning", "mts-octave"])
def test_notes_whose_note_off_never_comes_are_ended(name):
    """The keyboard's cable is out, a pedal down: nothing hangs, and what comes after is played."""
    made = plan(JUST, receiver(name))
    listener = Listener()
    for message in made.messages:
        listener.send(message)
    through = Through(made, listener.send)
    for message in (b"\xb0\x40\x7f", b"\x90\x3c\x40", b"\x90\x40\x40", b"\x80\x40\x40"):
        through.receive(message)
    assert listener.sounding()
    through.finish()
    assert listener.sounding() == set()

    through.receive(b"\x90\x43\x40")
    assert {key for _, key in listener.sounding()} == {67}


RETUNED = ["mpe", "twelve-channel-bend", "mono-bend", "channel-tuning"]
TABLES = ["mts-octave", "mts-single-note", "mts-bulk"]


def rig(name):
    """What notes go through, into a receiver that is tuned."""
    made = plan(JUST, receiver(name))
    listener = Listener()
    for message in made.messages:
        listener.send(message)
    listener.log.clear()
    return Through(made, listener.send), listener


@pytest.mark.parametrize("name", [*RETUNED, *TABLES])
def test_a_key_struck_again_ends_the_note_whose_note_off_was_lost(name):
    through, listener = rig(name)
    for message in (b"\x90\x3c\x40", b"\x90\x3c\x50", b"\x80\x3c\x40"):
        through.receive(message)
    kinds = [message[0] & 0xF0 for message in listener.log if message[0] & 0xF0 in (0x80, 0x90)]

    assert kinds == [0x90, 0x80, 0x90, 0x80]
    assert listener.sounding() == set()
    through.close()


@pytest.mark.parametrize("name", [*RETUNED, *TABLES])
def test_panic_ends_everything_on_all_channels(name):
    """Notes, rings, pedals; also drums, and what another program left hanging. Then it is played on."""
    through, listener = rig(name)
    for message in (b"\xb0\x40\x7f", b"\x90\x3c\x40", b"\x90\x40\x40", b"\x80\x40\x40", b"\x99\x24\x40"):
        through.receive(message)
    listener.send(b"\x9e\x30\x40")  # another program's
    through.panic()

    assert listener.sounding() == set()
    assert not any(listener.sustain)
    off = {(message[0] & 15, message[1]) for message in listener.log if message[0] & 0xF0 == 0xB0}
    assert off >= {(channel, mode) for channel in range(16) for mode in (120, 123)}

    for message in (b"\x80\x3c\x40", b"\x90\x43\x40", b"\x80\x43\x40"):
        through.receive(message)
    assert listener.sounding() == set(), "the pedal is taken as up"
    through.close()


def test_panic_ends_each_osc_note():
    out = []
    through = Through(plan(JUST, receiver("osc-per-note")), out.append)
    for message in (b"\xb0\x40\x7f", b"\x90\x40\x7f", b"\x80\x40\x00"):
        through.receive(message)
    through.panic()

    assert [(one.address, one.arguments[0]) for packet in out for one in decode(packet)] == [
        ("/note/on", 64), ("/note/off", 64),
    ]  # fmt: skip


def test_pedals_are_kept_from_the_receiver():
    out = []
    through = Through(plan(JUST, receiver("mpe")), out.append, {20: "A"})
    through.receive(b"\xb0\x14\x7f")

    assert out == []
    assert through.moved.is_set()
    stood = []
    through.playing.steel = stood.append
    through.follow_steel()
    through.follow_steel()
    assert stood == [{"A": 1.0}]


@pytest.mark.parametrize("name", ["mpe", "twelve-channel-bend", "mono-bend", "channel-tuning"])
def test_a_drummer_s_notes_are_ended_as_well(name):
    """Channel 10 passes untouched; a cymbal that is held when the program ends would hang."""
    listener = Listener()
    through = Through(plan(JUST, receiver(name)), listener.send)
    for message in (b"\xb9\x40\x7f", b"\x99\x31\x40", b"\x99\x33\x40", b"\x89\x33\x40"):
        through.receive(message)
    assert {key for channel, key in listener.sounding() if channel == 10} == {0x31, 0x33}
    through.finish()

    assert listener.sounding() == set()


def test_changes_go_out_between_the_notes_until_the_end():
    """In a thread of its own, while the player holds a chord; once it is closed nothing more is sent."""
    name = receiver("mts-single-note")
    out = queue.Queue()
    through = Through(plan(JUST, name), out.put)
    through.receive(b"\x90\x40\x40")
    assert out.get(timeout=20) == b"\x90\x40\x40"
    through.retune(plan(scale_of_classes("sharp", [5.0] * 12), name))
    tuned = set()
    while len(tuned) < 127:
        tuned |= set(parse_tuning(out.get(timeout=20)).keys)
    assert 64 not in tuned, "it sounds"

    through.retune(plan(JUST, name))
    through.close()
    sent = out.qsize()
    through.retune(plan(scale_of_classes("sharper", [9.0] * 12), name))
    through.close()
    assert out.qsize() == sent
