"""Real MIDI ports: what is sent arrives, what is played passes through, and all is taken back at the end."""

import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time

import jack
import pytest

from tests.keys.listener import Listener
from tests.keys.rig import MEANTONE, Ear, Programs
from tests.measure import hz_of
from tests.real.recorder import Recorder
from tests.real.test_device import RATE
from tonegen.keys.midi import notes_off
from tonegen.keys.osc import Message, decode, encode
from tonegen.keys.plan import plan
from tonegen.keys.ports import LONGEST_AT_JACK_BYTES, MAY_LOSE_NOTES, MidiInput, MidiOutput
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_temperament, strings_of_rig
from tonegen.presets import temperament
from tonegen.setup.context import rig_asked_for
from tonegen.setup.setting import Hands

pytestmark = pytest.mark.usefixtures("midi_system")


@pytest.mark.parametrize("name", ["twelve-channel-bend", "mpe", "channel-tuning", "mts-single-note"])
def test_a_receiver_is_tuned_and_put_back(send, ear, name):
    made = plan(MEANTONE, receiver(name))
    program = send(name, "--seconds", "0.3")

    assert ear.take(len(made.messages)) == list(made.messages)
    assert ear.take(len(made.undo)) == list(made.undo)
    assert program.wait(20) == 0
    said = "tuned" if name == "mts-single-note" else "set up; notes are retuned by keys through or keys file"
    assert f"The receiver is {said}. Ctrl-C" in program.stderr.read()


THROUGH = ("keys", "through", "--virtual-in", "Keys", "--out", "Stage Piano", "--receiver", "mpe")


def set_up(ear, program, made):
    """Whoever hears what the program sends, once it has set the receiver up."""
    listener = Listener()
    for message in ear.take(len(made.messages)):
        listener.send(message)
    program.stderr.readline()
    return listener


def played(ear, player, listener, *keys):
    """Strike keys, and hear what comes of them."""
    for key in keys:
        player.send(bytes((0x90, key, 80)))
    player.send(b"\xb0\x07\x64")
    for message in ear.until(b"\xb0\x07\x64")[0]:
        listener.send(message)
    return {key: listener.pitch_cents(channel, key) - 100 * key for channel, key in listener.sounding()}


def test_notes_pass_through_retuned(start, ear, plays_at):
    made = plan(MEANTONE, receiver("mpe"))
    program = start(*THROUGH, "--temperament", "quarter-comma-meantone")
    listener = set_up(ear, program, made)
    player = plays_at("Keys")
    played(ear, player, listener, 60, 64, 67)

    assert {key for _, key in listener.sounding()} == {60, 64, 67}
    for channel, key in listener.sounding():
        assert listener.pitch_cents(channel, key) == pytest.approx(
            100 * key + MEANTONE.class_cents[key % 12], abs=0.02
        )
    program.send_signal(signal.SIGINT)
    for message in ear.until(made.undo[-1])[0]:
        listener.send(message)
    assert listener.sounding() == set()
    assert program.wait(20) == 0
    player.close()


def test_notes_follow_the_chord(start, ear, plays_at):
    """A pure fifth and third over a bass at equal temperament, within what holds them to their masters."""
    made = plan(scale_of_temperament(temperament("equal")), receiver("mpe"))
    program = start(*THROUGH, "--follow", "bass")
    listener = set_up(ear, program, made)
    player = plays_at("Keys")
    offsets = played(ear, player, listener, 48, 55, 64)

    assert offsets[48] == pytest.approx(0, abs=0.6)
    assert offsets[55] - offsets[48] == pytest.approx(1.955, abs=0.6)
    assert offsets[64] - offsets[48] == pytest.approx(-13.686, abs=0.8)
    program.send_signal(signal.SIGINT)
    assert program.wait(20) == 0
    player.close()


def test_notes_follow_the_steel_in_the_state_of_its_pedals(start, ear, plays_at):
    """Controller 20 is pedal A: with it the cabinet gives, and a key goes down with its string."""
    program = start(
        *THROUGH, "--follow", "steel", "--instrument", "e9-ten-string", "--temperament", "five-limit-just",
        "--drop", "demo-soft-cabinet", "--pedal", "20=A",
    )  # fmt: skip
    rig, _ = rig_asked_for("e9-ten-string", "five-limit-just", None, "demo-soft-cabinet", None)
    at_rest, engaged = (dict(strings_of_rig(rig, Hands(travels=travels)))[64] for travels in ({}, {"A": 1.0}))
    listener = Listener()
    program.stderr.readline()
    player = plays_at("Keys")

    assert played(ear, player, listener, 64)[64] == pytest.approx(at_rest, abs=0.05)
    player.send(b"\x80\x40\x40")
    player.send(b"\xb0\x14\x7f")
    until, heard = time.monotonic() + 20, at_rest
    while heard != pytest.approx(engaged, abs=0.05):  # pedals are gathered for 30 ms; no message tells of it
        assert time.monotonic() < until, f"still at {heard}"
        heard = played(ear, player, listener, 64)[64]
        player.send(b"\x80\x40\x40")
    assert engaged < at_rest - 1
    program.send_signal(signal.SIGINT)
    assert program.wait(20) == 0
    player.close()


def test_a_wheel_that_goes_too_far_is_told_once(start, ear, plays_at):
    """The keyboard's own range is twelve semitones, the receiver's three."""
    program = start(
        "keys", "through", "--virtual-in", "Keys", "--out", "Stage Piano", "--receiver", "twelve-channel-bend"
    )
    program.stderr.readline()
    player = plays_at("Keys")
    for text in ("b06500", "b06400", "b0060c", "903c40", "e07f7f", "e07f7e", "b00701"):
        player.send(bytes.fromhex(text))
    assert b"\xe0\x7f\x7f" in ear.until(b"\xb0\x07\x01")[0]

    assert program.stderr.readline() == f"{MAY_LOSE_NOTES}\n", "the tests' server has no real-time priority"
    assert program.stderr.readline() == (
        "twelve-channel-bend: Bends reach beyond the bend range; raise bend_range_semitones.\n"
    )
    program.send_signal(signal.SIGINT)
    assert program.communicate(timeout=20)[1] == ""
    player.close()


def test_panic_silences_a_port(start, ear):
    """All sixteen channels: pedals up, notes and sound off."""
    program = start("keys", "panic", "--out", "Stage Piano")
    assert ear.take(64) == list(notes_off(range(1, 17)))
    assert program.communicate(timeout=20)[1] == "All notes are off.\n"


def test_pedals_by_midi_move_the_scale(start, ear, plays_at):
    """Controller 20 is pedal A: with it the cabinet gives, and every other string stands lower."""
    program = start(
        "keys", "through", "--virtual-in", "Keys", "--out", "Stage Piano", "--receiver", "mts-octave",
        "--instrument", "e9-ten-string", "--temperament", "five-limit-just", "--fret", "3", "--changes", "",
        "--drop", "demo-soft-cabinet", "--pedal", "20=A",
    )  # fmt: skip
    first = ear.take(1)[0]
    program.stderr.readline()
    player = plays_at("Keys")
    player.send(b"\xb0\x14\x7f")
    second = ear.take(1)[0]

    assert (first[:8], len(first)) == (second[:8], len(second))
    assert first != second
    program.send_signal(signal.SIGINT)
    assert program.wait(20) == 0
    player.close()


@pytest.fixture
def by_osc():
    """A foot controller: asks the program, and gives its answer."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as foot:
        foot.settimeout(20)

        def ask(heard, address, *arguments):
            port = int(re.search(r"listening at 127\.0\.0\.1:(\d+)", heard)[1])
            foot.sendto(encode(Message(address, arguments)), ("127.0.0.1", port))
            return decode(foot.recv(65536))[0]

        yield ask


def record(server, seconds):
    """What goes to the sound device, once something is connected to it."""
    until = time.monotonic() + 20
    while True:
        try:
            return Recorder(server).record(seconds)[0]
        except ValueError:  # the program's stream is not open yet; no event tells of it
            assert time.monotonic() < until, "nothing plays"


def test_tones_and_scale_follow_a_pedal_by_midi_and_the_rest_by_osc(start, midi_system, by_osc, plays_at):
    """Strings 4 and 5, E and B, sound from the device; each key's frequency goes to an OSC receiver."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver_:
        receiver_.bind(("127.0.0.1", 0))
        receiver_.settimeout(20)

        def comes(key, hz):
            """Wait until the receiver is told that a key has this frequency; only what changes is sent."""
            while True:
                told = decode(receiver_.recv(65536))[0].arguments
                if told[0] == key and told[1] == pytest.approx(hz, rel=1e-5):
                    return True

        program = start(
            "keys", "through", "--virtual-in", "Keys", "--receiver", "osc-per-key",
            "--to", f"127.0.0.1:{receiver_.getsockname()[1]}", "--instrument", "e9-ten-string",
            "--changes", "", "--pedal", "20=A", "--osc-in", "127.0.0.1:0", "--song", "Waltz=G",
        )  # fmt: skip
        assert comes(127, 440 * 2 ** (58 / 12))
        heard = program.stderr.readline()
        assert '"4,5"' in by_osc(heard, "/tonegen/play", "4,5").arguments[0]
        assert hz_of(record(midi_system, 2), RATE, 246.942) == pytest.approx(246.942, abs=0.02)

        player = plays_at("Keys")
        player.send(b"\xb0\x14\x30")  # a half-stop: 48 of 127
        half = 246.942 * 2 ** (2 * 48 / 127 / 12)
        assert comes(60, half)
        assert hz_of(record(midi_system, 2), RATE, half) == pytest.approx(half, abs=0.02)

        assert by_osc(heard, "/tonegen/song", "Waltz").address == "/tonegen/state"
        in_g = half * 2 ** (3 / 12)
        assert comes(63, in_g)
        assert hz_of(record(midi_system, 2), RATE, in_g) == pytest.approx(in_g, abs=0.02)

        refused = by_osc(heard, "/tonegen/song", "Polka")
        assert refused.arguments == ("/tonegen/song", 'there is no song "Polka"; there are: Waltz')
        program.send_signal(signal.SIGINT)
        assert comes(127, 440 * 2 ** (58 / 12))
        assert program.wait(20) == 0
        player.close()


def test_a_pedal_that_moves_faster_than_a_table_is_sent_holds_nobody_up(start, ear, by_osc):
    """Fifty positions in a burst, for a table of 529 bytes: the last counts, those between are left out."""
    program = start(
        "keys", "through", "--virtual-in", "Keys", "--out", "Stage Piano", "--receiver", "mts-single-note",
        "--instrument", "e9-ten-string", "--changes", "", "--osc-in", "127.0.0.1:0",
    )  # fmt: skip
    made = plan(MEANTONE, receiver("mts-single-note"))
    ear.take(len(made.messages))
    heard = program.stderr.readline()
    for position in range(1, 51):
        by_osc(heard, "/tonegen/engage", "A", position / 250)
    last = bytes((59, 59, 0x33, 0x1A))  # B3 is 40 cents high: 0.4 * 16384 = 6554
    tables = 0
    while last not in (message := ear.next()[1]):
        tables += message[0] == 0xF0

    assert tables / len(made.tuning) < 25
    program.send_signal(signal.SIGINT)
    assert program.wait(20) == 0


def test_a_change_of_the_scale_leaves_notes_that_sound_as_they_are(start, ear, by_osc, plays_at):
    """A bend for each pitch class: B, key 71, goes up only when it is struck anew."""
    program = start(
        "keys", "through", "--virtual-in", "Keys", "--out", "Stage Piano", "--receiver",
        "twelve-channel-bend", "--instrument", "e9-ten-string", "--changes", "", "--osc-in", "127.0.0.1:0",
    )  # fmt: skip
    heard = program.stderr.readline()
    player = plays_at("Keys")
    player.send(b"\x90\x47\x40")
    before = ear.until(bytes((0x9C, 0x47, 0x40)))[0]
    assert by_osc(heard, "/tonegen/engage", "A", 0.2).address == "/tonegen/state"
    for message in (b"\x80\x47\x40", b"\x90\x47\x40"):
        player.send(message)
    off, bend, on = ear.take(3)

    assert off == bytes((0x8C, 0x47, 0x40))
    channel = bend[0] & 0x0F  # another than the one where the first note rings
    assert (bend[0], on) == (0xE0 | channel, bytes((0x90 | channel, 0x47, 0x40)))
    listener = Listener()
    for message in (*before, off, bend, on):
        listener.send(message)
    # two semitones at the stop: a fifth of the way is 40 cents
    assert [pitch for _, _, pitch in listener.struck] == pytest.approx([7100, 7140], abs=0.02)
    program.send_signal(signal.SIGINT)
    assert program.wait(20) == 0
    player.close()


def test_a_midi_system_that_dies_ends_in_a_line_not_a_crash(mortal_sound_server):
    """All ports vanish at once, with the system behind them: the sender's, a keyboard's and a virtual one."""
    with mortal_sound_server.as_the_own():
        programs = Programs()
        through = programs.start(
            "keys",
            "through",
            "--virtual-in",
            "Stage Piano",
            "--virtual-out",
            "On",
            "--receiver",
            "mts-octave",
        )
        through.stderr.readline()
        sending = programs.start("keys", "send", "--out", "Stage Piano", "--receiver", "mts-octave")
        sending.stderr.readline()
        mortal_sound_server.process.terminate()
        mortal_sound_server.process.wait(20)
        for program in (sending, through):
            program.send_signal(signal.SIGINT)
        said = [program.communicate(timeout=40)[1] for program in (sending, through)]

    assert "the receiver was gone and could not be put back; when it is back: tonegen keys reset" in said[0]
    assert "Traceback" not in said[0] + said[1]
    assert [program.returncode for program in (sending, through)] == [0, 0]


def test_a_receiver_that_is_to_stay_tuned_is_put_back_by_hand_alone(send, start, ear):
    made = plan(MEANTONE, receiver("mts-octave"))
    said = send("mts-octave", "--keep").communicate(timeout=20)
    assert said == ("", "The receiver is tuned. It stays that way; keys reset puts it back.\n")
    said = start("keys", "reset", "--out", "Stage", "--receiver", "mts-octave").communicate(timeout=20)
    assert said == ("", "The receiver is put back.\n")

    assert ear.until(made.undo[-1])[0] == [*made.messages, *made.undo]


def test_reset_by_hand(start, ear):
    made = plan(MEANTONE, receiver("twelve-channel-bend"))
    assert start("keys", "reset", "--out", "Stage", "--receiver", "twelve-channel-bend").wait(20) == 0

    assert ear.take(len(made.undo)) == list(made.undo)


def test_ports_are_listed_and_missing_ones_named(tonegen, ear):
    assert any("Stage Piano" in name for name in tonegen("tonegen keys ports --json").json["outputs"])
    why = tonegen.refused("tonegen keys send --receiver mpe --out Organ", code=3)
    assert why.startswith('there is no MIDI output called "Organ"; there are "')
    assert "Stage Piano" in why
    other = Ear("Stage Organ")
    assert "several MIDI outputs match" in tonegen.refused(
        "tonegen keys reset --receiver mpe --out stage", code=3
    )
    other.close()
    why = tonegen.refused("tonegen keys through --in Nope --out Piano --receiver mts-octave", code=3)
    assert 'no MIDI input called "Nope"' in why


def test_two_receivers_share_a_port(start, ear, tmp_path):
    """A piano tuned by key on channel 1, and an organ by octave on channel 2."""
    for name, text in (
        ("piano", 'means = "key tuning"\nmessage = "single note"\nselect = [1]'),
        ("organ", 'means = "octave tuning"\nchannels = [2]'),
    ):
        (tmp_path / f"{name}.toml").write_text(f'title = "{name}"\n{text}\n')
    piano, organ = (plan(MEANTONE, receiver(str(tmp_path / f"{name}.toml"))) for name in ("piano", "organ"))
    both = ("--receiver", str(tmp_path / "piano.toml"), "--receiver", str(tmp_path / "organ.toml"))
    start(
        "keys", "send", "--temperament", "quarter-comma-meantone", *both, "--out", "Stage", "--seconds", "0.1"
    )

    heard = ear.take(len(piano.messages) + len(organ.messages))
    assert heard == [*piano.messages, *organ.messages]
    assert sorted(ear.take(len(piano.undo) + len(organ.undo))) == sorted([*piano.undo, *organ.undo])


def test_a_keyboard_that_comes_back_plays_on(start, ear):
    keyboard = MidiOutput("Keyboard", virtual=True)
    made = plan(MEANTONE, receiver("mts-octave"))
    program = start(
        "keys", "through", "--in", "Keyboard", "--out", "Stage Piano", "--receiver", "mts-octave",
        "--temperament", "quarter-comma-meantone",
    )  # fmt: skip
    ear.take(len(made.messages))
    program.stderr.readline()
    keyboard.send(b"\x90\x3c\x40")
    assert ear.take(1) == [b"\x90\x3c\x40"]

    keyboard.close()
    assert "real-time" in program.stderr.readline()
    assert "eyboard is disconnected" in program.stderr.readline()
    keyboard = MidiOutput("Keyboard", virtual=True)
    assert "eyboard is back" in program.stderr.readline()
    keyboard.send(b"\x90\x3e\x40")
    assert b"\x90\x3e\x40" in ear.until(b"\x90\x3e\x40")[0]
    keyboard.close()


def test_damaged_messages_of_another_program_do_no_harm(start, ear, midi_system):
    """Truncated, undefined, data bytes that are none, a sysex that is cut: notes between them are played."""
    through = start("keys", "through", "--virtual-in", "Keys", "--out", "Stage", "--receiver", "mts-octave")
    through.stderr.readline()
    ear.take(1)
    waiting = [
        bytes.fromhex(text)
        for text in (
            "903c40", "803c40", "903c", "f4", "f501", "903c90", "c0", "f00102", "903e40", "803e40",
            "f0010203f7", "904040", "804000", "b00701",
        )
    ]  # fmt: skip
    other = jack.Client("other", servername=midi_system.name, no_start_server=True)
    port = other.midi_outports.register("out")

    @other.set_process_callback
    def send(_):
        port.clear_buffer()
        if port.number_of_connections and waiting:
            port.write_midi_event(0, waiting.pop(0))

    with other:
        other.connect(port, next(one for one in other.get_ports("Keys$", is_midi=True, is_input=True)))
        heard, _ = ear.until(bytes.fromhex("b00701"))

    assert [message.hex() for message in heard] == [
        "903c40", "803c40", "903e40", "803e40", "f0010203f7", "904040", "804000", "b00701",
    ]  # fmt: skip


def test_a_system_exclusive_message_that_jack_would_lose_is_refused_aloud(ear, capfd):
    """The longest that arrives, and one byte more."""
    out = MidiOutput("stage pi")
    longest = b"\xf0" + bytes(LONGEST_AT_JACK_BYTES - 2) + b"\xf7"
    out.send(longest)
    assert ear.next()[1] == longest
    capfd.readouterr()

    out.send(longest[:-1] + b"\0\xf7")
    out.send(b"\x90\x3c\x40")
    assert ear.next()[1] == b"\x90\x3c\x40"
    assert "of 16380 bytes was not passed on" in capfd.readouterr().err
    out.close()


def test_an_input_knows_whether_jack_has_priority_here(midi_system):
    """A thread of this process in real time stands for JACK's own; the tests' server has none."""
    source = MidiInput("Keys", lambda message: None, virtual=True)
    assert source.may_lose_notes
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(1))
    except PermissionError:
        pass  # where nobody may have priority, there is nothing more to see
    else:
        assert not source.may_lose_notes
        os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))
    source.close()


CLOSES_AGAIN_AND_AGAIN = """
import sys, threading, time
from tonegen.keys.ports import MidiInput
sys.setswitchinterval(1)
for _ in range(5):
    came = threading.Event()
    coming = MidiInput("pouring", lambda _: came.set())
    assert came.wait(20)
    until = time.perf_counter() + 0.1
    while time.perf_counter() < until:  # meanwhile the next message waits for this thread
        pass
    coming.close()
"""


def test_an_input_can_be_let_go_while_notes_pour_in(midi_system):
    """What the MIDI system's thread is about to call must still be there: else the process crashes."""
    player, over = MidiOutput("pouring", virtual=True), threading.Event()

    def pour():
        while not over.wait(0.0002):
            player.send(b"\x90\x3c\x40")

    pouring = threading.Thread(target=pour)
    pouring.start()
    try:
        done = subprocess.run(
            [sys.executable, "-c", CLOSES_AGAIN_AND_AGAIN], capture_output=True, timeout=100
        )
    finally:
        over.set()
        pouring.join()
        player.close()
    assert (done.returncode, done.stderr) == (0, b"")
