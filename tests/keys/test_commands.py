"""The keys commands as they are typed: their JSON, their files, and what is refused in one line."""

import json
import os
import re
import socket
import subprocess
import sys

import mido
import numpy as np
import pytest

from tests.keys.song import CADENCE, song_of
from tonegen.keys import midi
from tonegen.keys.osc import Message, encode
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_temperament
from tonegen.pitch import note_name
from tonegen.presets import temperament

MY_E9 = """title = "My own E9, invented"
instrument = "e9-ten-string"
[[points]]
string = 3
offset_cents = -12.5
[[points]]
string = 4
offset_cents = 3.0
[[points]]
string = 8
offset_cents = 1.0
"""


@pytest.fixture
def my_e9(own_folder):
    folder = own_folder / "temperaments"
    folder.mkdir(parents=True)
    (folder / "my-e9.toml").write_text(MY_E9)


@pytest.fixture
def song(tmp_path):
    file = mido.MidiFile()
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("set_tempo", tempo=480_000))
    track.append(mido.Message("program_change", program=5))
    for key in (67, 71, 74):
        track.append(mido.Message("note_on", note=key, velocity=80, time=10))
        track.append(mido.Message("note_off", note=key, time=200))
    file.tracks.append(track)
    file.save(tmp_path / "in.mid")
    return tmp_path / "in.mid"


def test_plan_shows_the_bytes_that_would_be_sent_and_their_undo(tonegen):
    """MIDI Tuning (Updated Specification): F0 7F, device, 08 09, three bytes of channels, 24 of offsets."""
    line = "tonegen keys plan --temperament quarter-comma-meantone --root C --receiver mts-octave --bytes"
    [message] = tonegen(f"{line} --json").json["messages"]
    shown = tonegen(line).out.splitlines()

    assert bytes.fromhex(message)[:5] == bytes.fromhex("f0 7f 7f 08 09")
    assert len(bytes.fromhex(message)) == 33
    assert shown[:2] == ["Sent: messages 1, bytes 33, 0.011 s on a cable", f"  {message}"]
    undo = [line.strip() for line in shown[shown.index(next(x for x in shown if "put it back" in x)) + 1 :]]
    assert undo == tonegen(f"{line} --json").json["undo"]
    assert undo[-1] == "f0 7f 7f 08 09 03 7b 7f " + "40 00 " * 12 + "f7"


def test_plan_gives_every_key(tonegen, my_e9):
    line = "tonegen keys plan --instrument e9-ten-string --temperament my-e9 --fret 3"
    found = tonegen(f"{line} --receiver twelve-channel-bend --json").json

    assert list(found) == ["receiver", "keys", "spread", "worst_left"]
    assert found["receiver"] == "twelve-channel-bend"
    assert [key["key"] for key in found["keys"]] == list(range(128))
    assert set(found["keys"][0]) == {"key", "note", "offset_cents", "sent_cents", "left_cents", "hz"}
    b4 = found["keys"][71]  # string 3, G#4, three frets up
    assert (b4["note"], b4["offset_cents"]) == ("B4", pytest.approx(-12.5))
    for key in found["keys"]:
        assert key["left_cents"] == pytest.approx(key["offset_cents"] - key["sent_cents"])
        assert key["hz"] == pytest.approx(440 * 2 ** ((key["key"] - 69) / 12 + key["sent_cents"] / 1200))
    assert set(found["worst_left"]) == {"cents", "beats_per_second"}
    g = next(spread for spread in found["spread"] if spread["note"] == "G")
    assert (g["lowest_cents"], g["highest_cents"], g["cents"]) == pytest.approx((1.0, 3.0, 2.0))


def test_plan_for_a_person(tonegen, my_e9):
    ended = tonegen("tonegen keys plan --temperament my-e9 --fret 3 --receiver mts-octave-one-byte")

    assert ended.code == 0
    assert "−12.50" in ended.out
    assert re.search(r"^G +\+1.00  G3 string 8 open +\+3.00  G4 string 4 open +0\.\d\d$", ended.out, re.M)
    assert "At worst" in ended.out


@pytest.mark.parametrize(
    ("receiver", "says"),
    [
        ("mpe", "Switch the receiver to MPE, lower zone of 15; RPN 6 on channel 1 asks for it as well."),
        ("mpe", "RPN 0 sets its bend range to 3 semitones; if it ignores that, set it by hand."),
        ("mpe", "by keys through as you play, by keys file in a MIDI file."),
        ("twelve-channel-bend", "Set the same sound on channels 1 to 9 and 11 to 13: one channel for each"),
        ("mono-bend", "Set a monophonic sound on channel 1."),
        ("channel-tuning", "It must take channel tuning (RPN 1 and 2)."),
        ("mts-single-note", "must take the MIDI Tuning Standard's single note changes;"),
        ("mts-bulk", "RPN 3 tells channels 1 to 9 and 11 to 16 to use tuning program 0;"),
        ("mts-octave", "scale/octave tuning in two bytes; let it receive system exclusive."),
        ("osc-per-note", "The receiver must listen to /note/on and /note/off."),
    ],
)
def test_plan_says_what_the_player_sets_at_his_receiver(tonegen, receiver, says):
    assert says in tonegen(f"tonegen keys plan --receiver {receiver}").out


def test_a_tuning_dump_as_a_file_and_back(tonegen, tmp_path):
    path = tmp_path / "tuning.syx"
    asked = "--temperament quarter-comma-meantone --root C --receiver mts-bulk"
    assert tonegen(f"tonegen keys send {asked} --out-syx {path}").code == 0
    tuning = midi.parse_tuning(path.read_bytes())
    wanted = scale_of_temperament(temperament("quarter-comma-meantone").on(0)).key_cents

    assert tuning.form.name == "bulk dump"
    assert tuning.checksum_agrees
    assert np.abs(np.array(tuning.offset_cents) - wanted)[1:127].max() <= 100 / 16384 / 2 * (1 + 1e-6)
    keys = tonegen(f"tonegen keys plan --temperament {path} --receiver mts-single-note --json").json["keys"]
    assert keys[64]["offset_cents"] == pytest.approx(wanted[64], abs=0.0031)
    assert list(tmp_path.iterdir()) == [path], "no temporary file is left"


def test_send_says_the_compromise_that_the_plan_says(tonegen, tmp_path):
    steel = "--instrument e9-ten-string --temperament five-limit-just --drop demo-soft-cabinet"
    asked = f"{steel} --receiver mts-octave"
    sent = tonegen(f"tonegen keys send {asked} --out-syx {tmp_path / 'tuning.syx'}")
    plan = tonegen(f"tonegen keys plan {asked} --json").json
    worst = abs(plan["worst_left"]["cents"])
    assert f"mts-octave: At worst it is {worst:.3f} cents off, " in sent.err
    widest = max(plan["spread"], key=lambda one: one["cents"])
    assert f"by up to {widest['cents']:.1f} cents: tonegen keys plan." in sent.err
    assert f"Strings disagree on {', '.join(one['note'] for one in plan['spread'])}, " in sent.err
    nothing = tonegen(f"tonegen keys send --receiver mts-octave --out-syx {tmp_path / 'equal.syx'}")
    assert "At worst" not in nothing.err


@pytest.mark.parametrize("name", ["mts-single-note", "mts-octave"])
def test_tuning_changes_of_several_messages_are_taken_in(tonegen, tmp_path, name):
    path = tmp_path / "changes.syx"
    asked = "--temperament quarter-comma-meantone --root Eb"
    assert tonegen(f"tonegen keys send {asked} --receiver {name} --out-syx {path}").code == 0

    again = tonegen(f"tonegen keys plan --temperament {path} --receiver mts-bulk --json").json["keys"]
    first = tonegen(f"tonegen keys plan {asked} --receiver mts-bulk --json").json["keys"]
    assert [key["offset_cents"] for key in again[1:127]] == pytest.approx(
        [key["offset_cents"] for key in first[1:127]], abs=0.0062
    )


def dump_by_hand(program=0, name=b"NEIGHBOUR       ", device=0x10):
    """A bulk dump (MIDI Tuning, 08 01) as bytes: E 13.7 cents low, key 0 to stay as it is, the rest equal.

    Each E lies 0.863 of a semitone above the key before it: 16384 * 0.863 = 14139, in sevens of bits 6E 3B.
    The checksum is the exclusive or of all but F0, F7 and itself.
    """
    words = b"".join(
        bytes((key - 1, 0x6E, 0x3B)) if key % 12 == 4 else bytes((key, 0, 0)) for key in range(128)
    )
    body = bytes((0x7E, device, 8, 1, program)) + name + b"\x7f\x7f\x7f" + words[3:]
    ours = 0
    for byte in body:
        ours ^= byte
    return b"\xf0" + body + bytes((ours & 0x7F, 0xF7))


def test_a_dump_of_another_maker_is_taken_in(tonegen, tmp_path):
    """Among other messages, cut and whole, as a dump of a whole keyboard has them."""
    path = tmp_path / "NEIGHBOUR.SYX"
    path.write_bytes(bytes.fromhex("f0 7e 7f 06 01 f7 f0 43 10 01 90") + dump_by_hand() + b"\xf0\x01\xf7")
    ended = tonegen(f"tonegen keys plan --temperament {path} --receiver mts-single-note --json")
    keys = ended.json["keys"]

    printed = tonegen(f"tonegen keys plan --temperament {path} --receiver mts-single-note").out
    assert len(re.findall(r"^[A-G]#?\d", printed, re.M)) == 12, "all octaves are alike: one is shown"
    assert keys[64]["offset_cents"] == pytest.approx(-13.7, abs=100 / 16384 / 2)
    assert {key["offset_cents"] for key in keys if key["key"] % 12 != 4} == {0.0}
    assert "checksum" not in ended.err


def test_a_dump_with_stretched_octaves_is_shown_key_by_key(tonegen, tmp_path):
    path = tmp_path / "stretched.syx"
    path.write_bytes(midi.key_dump([(key - 69) / 4 for key in range(128)], "STRETCHED").messages[0])
    printed = tonegen(f"tonegen keys plan --temperament {path} --receiver mts-single-note").out

    assert re.findall(r"^[A-G]#?\d", printed, re.M) == [note_name(key) for key in range(21, 109)]


def test_a_checksum_that_disagrees_is_told(tonegen, tmp_path):
    path = tmp_path / "old.syx"
    dump = bytearray(dump_by_hand())
    dump[-2] ^= 8  # the standard's first wording left the 08 out
    path.write_bytes(dump)
    ended = tonegen(f"tonegen keys plan --temperament {path} --receiver mts-single-note --json")

    assert ended.json["keys"][64]["offset_cents"] == pytest.approx(-13.7, abs=0.01)
    assert "a checksum is wrong" in ended.err


def test_a_file_of_several_programs_is_refused(tonegen, tmp_path):
    path = tmp_path / "bank.syx"
    path.write_bytes(dump_by_hand(0) + dump_by_hand(1))

    why = tonegen.refused(f"tonegen keys plan --temperament {path} --receiver mpe")
    assert why == f"{path}: holds 2 tunings, of different programs; leave one in the file"


def test_a_damaged_tuning_file_is_refused(tonegen, tmp_path):
    path = tmp_path / "cut.syx"
    cut = b"\xf0\x7e\x7f\x08\x01\x00\xf7"
    for data, says in (
        (b"hello", "holds no system exclusive message"),
        (cut, "it was cut"),
        (b"\xf0\x43\x10\xf7", "none of its messages is of the MIDI Tuning Standard"),
    ):
        path.write_bytes(data)
        assert says in tonegen.refused(f"tonegen keys plan --temperament {path} --receiver mpe")


def test_a_file_is_retuned(tonegen, tmp_path, song):
    target = tmp_path / "out.mid"
    line = f"tonegen keys file {song} {target} --temperament five-limit-just --root G --receiver mpe --json"
    found = tonegen(line).json

    assert found["notes"] == 3
    file = mido.MidiFile(target)
    assert [m.tempo for m in file.tracks[0] if m.type == "set_tempo"] == [480_000]
    bends, struck = {}, {}
    for message in file.tracks[0]:
        if message.type == "pitchwheel":
            bends[message.channel] = message.pitch
        elif message.type == "note_on":
            struck[message.note] = bends[message.channel] / 8192 * 300
    # G at rest, B a pure third of 5:4 above it, D a pure fifth of 3:2
    assert struck == pytest.approx({67: 0.0, 71: -13.686, 74: 1.955}, abs=0.02)


@pytest.fixture
def cadence(tmp_path):
    path = tmp_path / "cadence.mid"
    path.write_bytes(song_of(*CADENCE))
    return path


def test_a_file_follows_the_chord(tonegen, tmp_path, cadence):
    """The bass leads at equal temperament; the first chord's third and fifth from it by 5:4 and 3:2."""
    target = tmp_path / "out.mid"
    done = tonegen(f"tonegen keys file {cadence} {target} --follow bass --receiver mpe --json").json
    assert done["notes"] == 14
    bends, struck = {}, {}
    for message in mido.MidiFile(target).tracks[0]:
        if message.type == "pitchwheel":
            bends[message.channel] = message.pitch
        elif message.type == "note_on":
            struck.setdefault(message.note, bends[message.channel] / 8192 * 300)

    assert struck[48] == pytest.approx(0, abs=1)
    assert struck[64] - struck[48] == pytest.approx(-13.686, abs=0.8)
    assert struck[67] - struck[48] == pytest.approx(1.955, abs=0.8)


def test_a_file_that_follows_says_what_does_not_go_together(tonegen, tmp_path, cadence):
    line = f"tonegen keys file {cadence} {tmp_path / 'out.mid'} --follow"

    why = tonegen.refused(f"{line} bass --receiver mpe --temperament vallotti")
    assert "follows the bass has the lowest note at equal temperament; with another, follow the song" in why
    assert "notes of a file do not glide; to have held" in tonegen.refused(
        f"{line} bass --receiver mpe --glide 2"
    )
    assert "a dump of all keys cannot follow the chord" in tonegen.refused(f"{line} bass --receiver mts-bulk")
    why = tonegen.refused(f"{line} bass --receiver osc-per-note")
    assert "an OSC receiver cannot play a MIDI file" in why
    assert not (tmp_path / "out.mid").exists()
    assert tonegen(f"{line} song --receiver mpe --temperament vallotti").code == 0


def test_what_cannot_follow_as_it_is_played_is_refused_before_anything_is_sent(tonegen):
    line = "tonegen keys through --in Nowhere --out Nowhere --receiver"

    why = tonegen.refused(f"{line} mpe --follow steel")
    assert "--follow steel follows an instrument's strings; give --instrument" in why
    assert "with another, follow the song" in tonegen.refused(
        f"{line} mpe --follow bass --temperament vallotti"
    )
    assert "such as mpe" in tonegen.refused(f"{line} mts-bulk --follow song --temperament vallotti")
    assert "say whom: --follow bass, song or steel" in tonegen.refused(f"{line} mpe --glide 5")
    assert "give --glide as well" in tonegen.refused(f"{line} mpe --follow bass --glide-most 3")
    why = tonegen.refused(f"{line} mpe --follow bass --glide -5")
    assert why == '--glide: "-5" is no number of cents; give 0 or more'
    why = tonegen.refused(f"{line} mpe --follow bass --glide 5 --glide-most nan")
    assert why == '--glide-most: "nan" is no number of cents; give 0 or more'
    assert "--glide: " in tonegen.refused(f"{line} mpe --follow bass --glide fast")
    assert "--glide: " in tonegen.refused(f"{line} mpe --follow bass --glide inf")


@pytest.mark.real  # python-rtmidi, for the ports
def test_the_steel_can_lead_as_it_is_played(tonegen):
    line = "tonegen keys through --in Nowhere --out Nowhere --receiver mpe"
    led = f"{line} --follow steel --instrument e9-ten-string"
    assert 'no MIDI output called "Nowhere"' in tonegen.refused(led, code=3)


def test_the_comparison_is_drawn(tonegen, tmp_path, cadence):
    """All rows by name, the purest at the top, in a picture whose type stays type."""
    out = tmp_path / "compared.svg"
    line = f"tonegen keys compare {cadence} --out {out}"
    found = tonegen(f"{line} --json").json
    picture = out.read_text()
    ranked = [row["name"] for row in sorted(found["rows"], key=lambda row: -row["overlap_cents"])]

    at = [picture.index(f">{name}<") for name in ranked]
    assert at == sorted(at), "matplotlib writes them from below"
    assert all(f">{row['overlap_cents']:.2f}<" in picture for row in found["rows"])
    assert all(
        words in picture for words in ("thirds and sixths", "fifths and fourths", "Mean error from just")
    )
    assert "already exists" in tonegen.refused(line)
    assert f"Written: {out}" in tonegen(f"{line} --force").out
    assert "pictures are pdf, svg, png" in tonegen.refused(f"{line}.doc")


def test_tunings_are_compared_over_a_song(tonegen, tmp_path, cadence):
    found = tonegen(f"tonegen keys compare {cadence} --json").json
    rows = {row["name"].partition(" on ")[0]: row for row in found["rows"]}

    assert found["notes"] == 14
    assert next(iter(rows)) == "equal"
    assert {"quarter-comma-meantone", "best twelve pitches", "follow bass"} <= set(rows)
    assert rows["equal"]["fifths_cents"] == pytest.approx(1.955, abs=1e-3)
    assert rows["follow bass"]["held_moved_cents"] == 0
    assert rows["follow bass"]["event_seconds"] > 0

    table = tonegen(f"tonegen keys compare {cadence}").out
    assert "Following does not help here; purer: five-limit-just on C" in table, "it never leaves its key"


def test_more_notes_than_are_solved_are_told_once_wherever_keys_follow(tonegen, tmp_path, cadence):
    path, target = tmp_path / "crowd.mid", tmp_path / "out.mid"
    path.write_bytes(song_of(tuple(range(50, 70)), tuple(range(50, 70, 2))))
    said = "More than 16 notes sound at once; each new one follows the 15 nearest to it.\n"

    assert tonegen(f"tonegen keys compare {path}").err == said
    assert tonegen(f"tonegen keys compare {path} --json").err == said
    assert said in tonegen(f"tonegen keys file {path} {target} --follow bass --receiver mpe").err
    assert tonegen(f"tonegen keys compare {cadence}").err == ""


def test_a_song_that_cannot_be_compared_is_refused(tonegen, tmp_path):
    path = tmp_path / "alone.mid"
    path.write_bytes(song_of((60,), (62,)))

    assert f"{path}: no two notes of the song sound" in tonegen.refused(f"tonegen keys compare {path}")
    path.write_bytes(b"RIFF")
    assert "not a Standard MIDI File" in tonegen.refused(f"tonegen keys compare {path}")


def test_a_song_of_several_sounds_is_told_that_a_zone_has_one(tonegen, tmp_path):
    file = mido.MidiFile()
    for channel in (0, 3, 9):
        track = mido.MidiTrack()
        track.append(mido.Message("note_on", channel=channel, note=60, velocity=80))
        track.append(mido.Message("note_off", channel=channel, note=60, time=200))
        file.tracks.append(track)
    file.save(tmp_path / "band.mid")
    line = f"tonegen keys file {tmp_path / 'band.mid'} {tmp_path / 'out.mid'} --force --receiver"

    assert "The file plays on 2 channels besides drums, which share one sound" in tonegen(f"{line} mpe").err
    assert tonegen(f"{line} twelve-channel-bend").err == ""


def test_osc_tunes_and_puts_back(tonegen, my_e9):
    import socket

    from tonegen.keys.osc import decode

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        receiver.settimeout(20)
        to = f"127.0.0.1:{receiver.getsockname()[1]}"
        line = f"tonegen keys send --temperament my-e9 --to {to} --receiver osc-per-key --osc-in 127.0.0.1:0"
        assert tonegen(f"{line} --seconds 0.05").code == 0
        packets = [decode(receiver.recv(65536))[0] for _ in range(256)]

    # string 3, G#4, is 12.5 cents low
    assert packets[68].arguments == (68, pytest.approx(440 * 2 ** (-1 / 12 - 12.5 / 1200), rel=1e-7))
    assert packets[128 + 68].arguments == (68, pytest.approx(440 * 2 ** (-1 / 12), rel=1e-7))


def test_a_receiver_that_is_sent_its_tuning_follows_songs(programs, synthesizer):
    """Without an instrument the temperament goes to the song's key: Vallotti on D, for two receivers."""
    asked = "keys send --temperament vallotti --song Waltz=D --receiver osc-per-class --receiver osc-per-key"
    to = synthesizer.where.removeprefix("osc ")
    program = programs.start(*asked.split(), "--to", to, "--osc-in", "127.0.0.1:0")
    synthesizer.take(12 + 128)
    said = program.stderr.readline()
    at = re.search(r"Listening at 127\.0\.0\.1:(\d+)\.", said)
    assert at, said
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as controller:
        controller.sendto(encode(Message("/tonegen/song", ("Waltz",))), ("127.0.0.1", int(at[1])))
        wanted = [
            plan(scale_of_temperament(temperament("vallotti").on(2)), receiver(name)).tuning
            for name in ("osc-per-class", "osc-per-key")
        ]
        before = [
            plan(scale_of_temperament(temperament("vallotti")), receiver(name)).tuning
            for name in ("osc-per-class", "osc-per-key")
        ]
        changed = {now for here, then in zip(wanted, before, strict=True)
                   for now, was in zip(here, then, strict=True) if now != was}  # fmt: skip
        assert set(synthesizer.take(len(changed))) == changed


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("plan", "--receiver"),
        ("send --receiver osc-per-key --to :9 --keep --osc-in :0", "--keep quits"),
        ("plan --receiver organ", 'there is no receiver called "organ"'),
        ("plan --receiver mpe --fret 3", "--fret cannot be used without an instrument; give --instrument"),
        ("plan --receiver mpe --fill vallotti --weight a=2", "--weight and --fill cannot be used"),
        ("plan --receiver mpe --drop demo-soft-cabinet", "--drop cannot be used without an instrument"),
        ("plan --receiver mpe --temperament a.syx --root G", "--root cannot be combined with a tuning dump"),
        (
            "plan --receiver mpe --temperament a.syx --instrument e9-ten-string",
            "--instrument cannot be combined",
        ),
        ("send --receiver mpe --out a --seconds 0", '"0" is not a length of time'),
        ("send --receiver mpe --out a --seconds nan", '"nan" is not a length of time'),
        ("send --receiver osc-per-key --to 127.0.0.1:0", '"127.0.0.1:0" has no usable port'),
        ("plan --receiver mpe --instrument e9-ten-string --fret 3 --song-key G", "give one"),
        ("plan --receiver mpe --instrument e9-ten-string --grip nonesuch", "nonesuch"),
        ("plan --receiver mpe --instrument e9-ten-string --weight x=1", 'no grip "x"'),
        ("plan --receiver mpe --instrument e9-ten-string --weight x", "needs a name, an equals sign"),
        ("plan --receiver mpe --reference 300", "reference pitch 300 Hz is out of range"),
        ("plan --receiver mpe --temperament nonesuch.syx", "nonesuch.syx: cannot be read"),
        ("send --receiver mpe", "say where MIDI goes: --out PORT"),
        ("send --receiver mpe --receiver mono-bend --out a", "mono-bend and mpe are both on channel 1"),
        ("send --receiver mpe --out a --virtual-out b", "say where MIDI goes: --out PORT"),
        ("send --receiver osc-per-key --out a", "an OSC receiver needs --to HOST:PORT"),
        ("send --receiver osc-per-key --to nowhere", "is not an address"),
        ("send --receiver mpe --out-syx x.syx", "not tuned by system exclusive messages"),
        ("through --receiver mpe --out a", "say where notes come from"),
        ("through --receiver mpe --in a --out b --pedal 20=A", "--pedal moves a change of an instrument"),
        ("through --receiver mpe --in a --out b --pedal 200=A", "give 0 to 119"),
        ("through --receiver mpe --in a --out b --instrument e9-ten-string --pedal 20=Z", 'no change "Z"'),
        (
            "through --receiver mpe --in a --out b --instrument e9-ten-string --pedal 20=A --pedal 20=F",
            "--pedal: controller 20 cannot move both A and F; one control does one thing",
        ),
        ("send --receiver osc-per-key", "an OSC receiver needs --to HOST:PORT"),
        ("file nonesuch.mid out.mid --receiver mpe", "nonesuch.mid: cannot be read: no such file"),
        ("file /tmp out.mid --receiver mpe", "/tmp: cannot be read"),
        ("panic", "say where notes are stuck: --out PORT"),
        ("reset --receiver mpe", "say where MIDI goes"),
    ],
)
def test_refused_in_one_line(tonegen, monkeypatch, tmp_path, line, says):
    monkeypatch.chdir(tmp_path)
    assert says in tonegen.refused(f"tonegen keys {line}")
    assert list(tmp_path.glob("*.*")) == []


def test_a_damaged_file_is_refused_and_the_old_one_kept(tonegen, tmp_path, song):
    target = tmp_path / "out.mid"
    target.write_bytes(b"mine")
    song.write_bytes(song.read_bytes()[:-5])

    why = tonegen.refused(f"tonegen keys file {song} {target} --receiver mpe")

    assert why.startswith(f"{song}: the MIDI file is cut")
    assert target.read_bytes() == b"mine"


def test_a_file_is_not_written_over_by_its_own_retuning(tonegen, song):
    before = song.read_bytes()
    why = tonegen.refused(f"tonegen keys file {song} {song} --receiver mpe")

    assert why.startswith(f"{song}: would be overwritten by the result")
    assert song.read_bytes() == before


@pytest.mark.parametrize(
    ("line", "name"),
    [("file {song} {old} --receiver mpe", "old.mid"), ("send --receiver mts-bulk --out-syx {old}", "a.syx")],
)
def test_a_file_that_exists_is_written_over_only_when_asked(tonegen, tmp_path, song, line, name):
    old = tmp_path / name
    old.write_bytes(b"kept")
    line = f"tonegen keys {line.format(song=song, old=old)}"

    assert "already exists; give another name, or --force" in tonegen.refused(line)
    assert old.read_bytes() == b"kept"
    assert tonegen(f"{line} --force").code == 0
    assert old.read_bytes() != b"kept"


def test_a_file_with_smpte_time(tonegen, tmp_path, song):
    """25 frames of 40 ticks are taken; a rate that no standard knows is refused by the name of the file."""
    data = song.read_bytes()
    target = tmp_path / "out.mid"
    for division, taken in ((b"\xe7\x28", True), (b"\xf0\x28", False)):
        song.write_bytes(data[:12] + division + data[14:])
        line = f"tonegen keys file {song} {target} --receiver mpe"
        if taken:
            assert tonegen(line).code == 0
            assert target.read_bytes()[12:14] == division
            target.unlink()
        else:
            assert tonegen.refused(line).startswith(f"{song}: the MIDI file's SMPTE time of 16 frames")
            assert not target.exists()


@pytest.mark.parametrize("command", ["plan", "send --out a", "file {song} {out}", "through --in a --out b"])
def test_a_bend_range_too_small_is_refused_before_anything_is_sent(tonegen, tmp_path, song, command):
    """A tuning dump whose A is more than a semitone high, for a receiver that bends by one."""
    channels = ", ".join(str(channel) for channel in range(1, 17) if channel not in (10, 14, 15, 16))
    small = tmp_path / "small.toml"
    small.write_text(
        'title = "Small"\nmeans = "bend per pitch class"\nbend_range_semitones = 1\n'
        f"channels = [{channels}]\n"
    )
    sysex = midi.key_dump([108.0 if key % 12 == 9 else 0.0 for key in range(128)], "FAR").messages[0]
    (tmp_path / "far.syx").write_bytes(sysex)
    words = command.format(song=song, out=tmp_path / "out.mid")

    why = tonegen.refused(f"tonegen keys {words} --receiver {small} --temperament {tmp_path / 'far.syx'}")

    assert "A: a bend range of 1 semitones cannot hold 108.002 cents; raise" in why
    assert not (tmp_path / "out.mid").exists()


def test_a_file_cannot_go_where_there_is_no_folder(tonegen, song):
    why = tonegen.refused(f"tonegen keys file {song} /nonesuch/out.mid --receiver mpe")
    assert "no such file or directory; nothing was saved" in why


@pytest.mark.real
def test_no_midi_system_is_one_line(tmp_path):
    """A machine without any: the systems' own libraries must not talk over it."""
    env = {**os.environ, "JACK_DEFAULT_SERVER": "there-is-none", "JACK_NO_START_SERVER": "1"}
    code = "from tonegen.cli import main; main()"
    command = [sys.executable, "-c", code, "keys", "reset", "--receiver", "mpe", "--out", "Piano"]
    ended = subprocess.run(command, capture_output=True, text=True, env=env, timeout=60)

    assert (ended.returncode, ended.stdout) == (3, "")
    assert ended.stderr == (
        'tonegen: there is no MIDI output called "Piano"; there are none; plug in or start the receiver\n'
    )
    listed = subprocess.run(
        [sys.executable, "-c", code, "keys", "ports", "--json"], capture_output=True, env=env
    )
    assert json.loads(listed.stdout) == {"inputs": [], "outputs": []}
    assert listed.stderr == b""


@pytest.mark.parametrize("name", ["plan", "send", "file", "through", "panic", "reset", "ports"])
def test_each_command_explains_itself(tonegen, name):
    ended = tonegen(f"tonegen keys {name} --help")
    assert ended.code == 0
    assert "Usage" in ended.out


def test_a_receiver_that_is_to_stay_tuned_is_sent_nothing_at_the_end(tonegen, synthesizer):
    made = plan(scale_of_temperament(temperament("vallotti")), receiver("osc-per-class"))
    to = synthesizer.where.removeprefix("osc ")
    line = f"tonegen keys send --temperament vallotti --receiver osc-per-class --to {to}"

    assert tonegen(f"{line} --keep").code == 0
    assert synthesizer.take(len(made.messages)) == list(made.messages)
    assert synthesizer.nothing_waits()
    assert tonegen(f"{line} --seconds 0.1").code == 0  # without it what was sent is taken back
    assert synthesizer.take(len(made.messages) + len(made.undo)) == [*made.messages, *made.undo]


def test_a_receiver_that_is_sent_notes_alone_says_so_where_none_pass(tonegen):
    why = tonegen.refused("tonegen keys send --receiver osc-per-note --to 127.0.0.1:9")
    assert "gets each note as you play it, and nothing before" in why
    assert "tonegen keys through --in PORT --receiver osc-per-note" in why
    assert "as you play it, and nothing before" in tonegen("tonegen keys plan --receiver osc-per-note").out
