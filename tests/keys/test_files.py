"""Standard MIDI Files: the same music comes out, retuned. mido reads it, as an outside opinion."""

import contextlib
import io

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.keys.listener import Listener
from tonegen.errors import BadValue
from tonegen.keys.files import retune
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_classes

JUST = scale_of_classes("just", (0, -29.3, 3.9, 15.6, -13.7, -2, -9.8, 2, 13.7, -15.6, 17.6, -11.7))
PLANS = {
    name: plan(JUST, receiver(name))
    for name in ("mpe", "twelve-channel-bend", "mono-bend", "channel-tuning", "mts-single-note", "mts-octave")
}


def song(players=(0, 3)):
    """Two tempi, lyrics, two players with programs and a pedal, drums, a sysex; times in ticks."""
    file = mido.MidiFile(type=1, ticks_per_beat=480)
    first = mido.MidiTrack()
    first.append(mido.MetaMessage("set_tempo", tempo=600_000, time=0))
    first.append(mido.MetaMessage("time_signature", numerator=3, denominator=4, time=0))
    first.append(mido.MetaMessage("set_tempo", tempo=400_000, time=960))
    file.tracks.append(first)
    for player in players:
        track = mido.MidiTrack()
        track.append(mido.MetaMessage("track_name", name=f"player {player}", time=0))
        track.append(mido.Message("program_change", channel=player, program=16 + player, time=0))
        track.append(mido.Message("control_change", channel=player, control=64, value=127, time=10))
        for place, key in enumerate((60, 64, 67, 70, 73)):
            track.append(mido.MetaMessage("lyrics", text=f"la{place}", time=0))
            track.append(mido.Message("note_on", channel=player, note=key + player, velocity=70, time=100))
        track.append(mido.Message("pitchwheel", channel=player, pitch=1000, time=50))
        for key in (60, 64, 67, 70, 73):
            track.append(mido.Message("note_off", channel=player, note=key + player, velocity=30, time=60))
        track.append(mido.Message("control_change", channel=player, control=64, value=0, time=10))
        file.tracks.append(track)
    drums = mido.MidiTrack()
    drums.append(mido.Message("sysex", data=(0x43, 0x10, 0x01), time=5))
    drums.append(mido.Message("note_on", channel=9, note=36, velocity=99, time=90))
    drums.append(mido.Message("note_off", channel=9, note=36, velocity=0, time=90))
    file.tracks.append(drums)
    return file


def data_of(file):
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def read(data):
    return mido.MidiFile(file=io.BytesIO(data))


def timed(track, wanted):
    tick, found = 0, []
    for message in track:
        tick += message.time
        if wanted(message):
            found.append((tick, message.copy(time=0)))
    return found


def is_a(kind):
    return lambda message: message.type == kind


def play(file):
    """What a receiver hears, with the beat at which each note was struck."""
    listener = Listener()
    for message in file:  # mido merges the tracks and gives seconds
        if not message.is_meta:
            listener.send(bytes(message.bytes()))
    return listener


@pytest.mark.parametrize("name", PLANS)
def test_all_but_the_notes_stays_where_it_was(name):
    before = song()
    after = read(retune(data_of(before), PLANS[name]).data)

    def stays(message):
        return message.is_meta and message.type != "end_of_track"

    assert after.ticks_per_beat == 480
    assert [timed(track, stays) for track in after.tracks] == [timed(track, stays) for track in before.tracks]
    for old, new in zip(before.tracks, after.tracks, strict=True):
        for kind in ("note_on", "note_off"):
            notes = [
                [(tick, m.note) for tick, m in timed(track, lambda m, k=kind: m.type == k)]
                for track in (old, new)
            ]
            assert set(notes[0]) <= set(notes[1]) or name == "mono-bend"
        programs = [{m.program for m in track if m.type == "program_change"} for track in (old, new)]
        assert programs[0] <= programs[1]
    assert any(m.type == "sysex" and m.data == (0x43, 0x10, 0x01) for m in after.tracks[-1])


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("players", [(0,), (0, 3)], ids=["one player", "two players"])
def test_every_note_is_retuned_and_none_hangs(name, players):
    listener = play(read(retune(data_of(song(players)), PLANS[name]).data))
    struck = [one for one in listener.struck if one[0] != 10]

    assert len(struck) == 5 * len(players)
    for channel, key, pitch in struck:
        assert pitch == pytest.approx(100 * key + JUST.class_cents[key % 12], abs=0.02), channel
    assert listener.sounding() == set()
    assert listener.bend == [0] * 17, "put back at the end"


@pytest.mark.parametrize("name", PLANS)
def test_a_drummer_is_left_alone(name):
    """Channel 10 of General MIDI: his kit, pedal, bend and notes stay as they are, and nobody joins him."""
    file = song()
    drummer = (
        mido.Message("program_change", channel=9, program=25),
        mido.Message("control_change", channel=9, control=4, value=90),
        mido.Message("pitchwheel", channel=9, pitch=512),
        mido.Message("note_on", channel=9, note=40, velocity=80),
        mido.Message("note_off", channel=9, note=40, velocity=3),
    )
    file.tracks[-1].extend(drummer)
    on_his_channel = [
        [message for message in track if not message.is_meta and getattr(message, "channel", 0) == 9]
        for track in read(retune(data_of(file), PLANS[name]).data).tracks
    ]

    assert on_his_channel[-1][2:] == list(drummer)
    assert not any(on_his_channel[:-1])


def test_the_wheel_bends_what_sounds():
    file = song((0,))
    data = retune(data_of(file), PLANS["mpe"]).data
    listener = Listener()
    bent = {}
    for message in read(data):
        if message.is_meta:
            continue
        listener.send(bytes(message.bytes()))
        if message.type == "note_off":
            bent[message.note] = listener.pitch_cents(message.channel + 1, message.note)

    for key in (60, 64, 67, 70, 73):
        wheel = 1000 / 8192 * 200
        assert bent[key] == pytest.approx(100 * key + JUST.class_cents[key % 12] + wheel, abs=0.02)


def chunk(name, body):
    return name + len(body).to_bytes(4, "big") + body


def smf(*tracks, layout=0, division=b"\x00\x60"):
    header = layout.to_bytes(2, "big") + len(tracks).to_bytes(2, "big") + division
    return chunk(b"MThd", header) + b"".join(chunk(b"MTrk", bytes.fromhex(track)) for track in tracks)


END = "00 ff 2f 00"


def test_packets_and_escapes_survive():
    """A sysex in two packets, then an escape of one real-time byte (SMF 1.0, F7 events)."""
    packets = "00 f0 03 43 12 00  60 f7 03 01 02 f7  10 f7 01 fa"
    data = smf(packets + END)

    retuned = retune(data, PLANS["mts-octave"]).data

    assert bytes.fromhex(packets) in retuned


def test_running_status_and_velocity_zero():
    data = smf("00 90 3c 40 10 40 40 20 3c 00 00 40 00" + END)
    listener = play(read(retune(data, PLANS["mpe"]).data))

    assert [key for _, key, _ in listener.struck] == [60, 64]
    assert listener.sounding() == set()


def test_a_note_off_that_never_comes():
    data = smf("00 90 3c 40 83 60 b0 40 7f" + END)

    for name in ("mpe", "twelve-channel-bend"):
        assert play(read(retune(data, PLANS[name]).data)).sounding() == set()


def test_smpte_time():
    """25 frames of 40 ticks: a tick is a millisecond, and a released note rings for 2000 of them."""
    notes = "".join(f"00 90 {key:02x} 40 01 80 {key:02x} 00" for key in range(0x30, 0x3E))
    data = smf(notes + "87 68 90 20 40 01 80 20 00" + END, division=b"\xe7\x28")  # a second later
    late = smf(notes + "97 68 90 20 40 01 80 20 00" + END, division=b"\xe7\x28")  # three seconds later

    early = play(Raw(retune(data, PLANS["mpe"]).data)).struck
    after = play(Raw(retune(late, PLANS["mpe"]).data)).struck
    assert sorted(one[0] for one in after[:14]) == [*range(2, 10), *range(11, 17)]
    assert after[14][0] == after[0][0], "free and longest unused"
    assert early[14][0] == early[8][0], "all ring: the one in the same tune, 24 keys above"


@pytest.mark.parametrize(
    ("division", "ticks"),
    [
        (b"\xe7\x28", 2000),  # 25 frames of 40
        (b"\xe3\x64", 5994),  # 29: drop frame, 30000/1001 frames of 100 (SMPTE)
        (b"\x00\x60", 384),  # 96 to the quarter at 120 quarters a minute
    ],
)
def test_the_last_chord_rings_out_before_the_rig_is_put_back(division, ticks):
    """Two seconds: common practice, no source."""
    data = smf("00 90 3c 40 60 80 3c 00" + END, division=division)
    track = read(retune(data, PLANS["mts-octave"]).data).tracks[0]
    (released,) = (tick for tick, _ in timed(track, is_a("note_off")))

    put_back = [tick for tick, _ in timed(track, is_a("control_change"))]
    assert set(put_back) == {released + ticks}


def test_the_tempo_map_says_how_long_a_note_rings():
    """A second or four between a release and a note, by the tempo alone (96 ticks to the quarter)."""
    notes = "".join(f"00 90 {key:02x} 40 01 80 {key:02x} 00" for key in range(0x30, 0x3E))
    after = "81 40 90 20 40 01 80 20 00" + END  # 192 ticks later: two quarters
    quick, slow = (f"00 ff 51 03 {tempo}" for tempo in ("07 a1 20", "1e 84 80"))
    channels = {}
    for tempo in (quick, slow):
        struck = play(Raw(retune(smf(notes + tempo + after), PLANS["mpe"]).data)).struck
        channels[tempo] = [one[0] for one in struck]

    assert channels[slow][14] == channels[slow][0], "all are silent: the longest unused"
    assert channels[quick][14] == channels[quick][8], "all ring: the one in the same tune"


class Raw:
    """The messages of a one-track file in order, where mido has no clock for them."""

    def __init__(self, data):
        self.track = read(data).tracks[0]

    def __iter__(self):
        return iter(self.track)


def test_independent_patterns_each_start_their_own_receiver():
    data = smf("00 90 3c 40 10 80 3c 00" + END, "00 90 3e 40 10 80 3e 00" + END, layout=2)
    retuned = read(retune(data, PLANS["twelve-channel-bend"]).data)

    assert retuned.type == 2
    set_up = list(PLANS["twelve-channel-bend"].messages)
    for track in retuned.tracks:
        assert [bytes(m.bytes()) for m in track if not m.is_meta][: len(set_up)] == set_up


def test_a_reset_in_the_file_is_followed_by_the_tuning():
    data = smf("00 f0 05 7e 7f 09 01 f7 60 90 3c 40 60 80 3c 00" + END)
    retuned = retune(data, PLANS["mts-octave"])
    messages = [bytes(m.bytes()) for m in read(retuned.data).tracks[0] if not m.is_meta]

    reset = messages.index(bytes.fromhex("f07e7f0901f7"))
    assert messages[reset + 1] == PLANS["mts-octave"].messages[0]


@pytest.mark.parametrize("behind", [b"\0", b"abc", b"\0" * 20, b"padding of some program"])
def test_padding_behind_the_last_track_is_no_fault(behind):
    data = smf("00 90 3c 40 10 80 3c 00" + END)
    assert retune(data + behind, PLANS["mpe"]).notes == 1


@pytest.mark.parametrize(
    ("track", "division"),
    [
        ("ff ff ff 7f 80 3c 00  ff ff ff 7f 80 3c 00  00 90 3c 40" + END, b"\0\x60"),  # stray note-offs go
        ("00 ff 51 03 00 00 01 00 90 3c 40 60 80 3c 00" + END, b"\x7f\xff"),  # two seconds are many ticks
    ],
)
def test_a_time_longer_than_four_bytes_hold_is_divided(track, division):
    before = smf(track, division=division)
    after = read(retune(before, PLANS["mpe"]).data).tracks[0]

    (there,) = [tick for tick, _ in timed(after, is_a("note_on"))]
    assert [tick for tick, _ in timed(read(before).tracks[0], is_a("note_on"))] == [there]
    assert max(message.time for message in after) <= 0x0FFFFFFF


def test_unknown_chunks_are_kept():
    data = smf("00 90 3c 40 10 80 3c 00" + END) + chunk(b"XFIH", b"demo")
    assert chunk(b"XFIH", b"demo") in retune(data, PLANS["mpe"]).data


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "not a Standard MIDI File"),
        (b"RIFF", "not a Standard MIDI File"),
        (smf(END)[:-1], "is cut: byte 14 promises 4 bytes, 3 follow"),
        (smf(), "has no track"),
        (smf("00 90 3c"), "track 1 of the MIDI file has at its byte 0 an event that is cut short"),
        (smf("00 90 3c 40"), "no end of the track"),
        (smf("00 3c 40" + END), "a data byte where an event must begin"),
        (smf("00 90 3c 40 00 ff 01 00 00 3c 00" + END), "a data byte where an event must begin"),
        (smf("00 90 3c f0" + END), "a status byte inside an event"),
        (smf("00 f4" + END), "an event F4, which a file cannot hold"),
        (smf("00 ff 01 7f 61" + END), "goes beyond the track"),
        (smf("ff ff ff ff 7f 90 3c 40" + END), "a time of more than four bytes"),
        (smf("00 f0 ff ff ff ff 01" + END), "a length of more than four bytes"),
        (smf(END, division=b"\x00\x00"), "no ticks to the quarter note"),
        (smf(END, division=b"\xf0\x28"), "SMPTE time of 16 frames"),
        (smf(END)[:10] + b"\x00\x02" + smf(END)[12:], "promises 2 tracks and has 1"),
    ],
)
def test_a_malformed_file_is_refused_in_one_line(data, says):
    with pytest.raises(BadValue, match=says):
        retune(data, PLANS["mpe"])


@given(st.data())
@settings(max_examples=400, deadline=None)
def test_damaged_files_are_read_or_refused(data):
    damaged = bytearray(WHOLE)
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(damaged) - 1))
        change = data.draw(st.integers(0, 2))
        if change == 0:
            damaged[at] = data.draw(st.integers(0, 255))
        elif change == 1:
            del damaged[at : at + data.draw(st.integers(1, 8))]
        else:
            damaged[at:at] = data.draw(st.binary(max_size=4))
        if not damaged:
            break
    name = data.draw(st.sampled_from(sorted(PLANS)))
    with contextlib.suppress(BadValue):
        retuned = retune(bytes(damaged), PLANS[name])
        retune(retuned.data, PLANS["mts-octave"])  # what comes out is a file that reads


@given(st.binary(max_size=200))
def test_any_bytes_are_refused(data):
    with contextlib.suppress(BadValue):
        retune(b"MThd\x00\x00\x00\x06\x00\x01\x00\x01\x00\x60" + chunk(b"MTrk", data), PLANS["mpe"])
    with pytest.raises(BadValue):
        retune(b"x" + data, PLANS["mpe"])


WHOLE = data_of(song())
