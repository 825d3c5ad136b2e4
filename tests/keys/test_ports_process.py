"""A receiver attended to in another process: all that is asked reaches it, and it is put back in any case."""

import os
import signal
import subprocess
import sys

import pytest

from tests.keys.test_guard import MADE
from tonegen.errors import BadValue, NoSuchDevice
from tonegen.keys.live import Presence
from tonegen.keys.midi import notes_off
from tonegen.keys.plan import plan
from tonegen.keys.ports_process import Bench, PortsProcess
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_classes
from tonegen.setlist.records import Lead

FLAT = plan(scale_of_classes("flat", [-2.0] * 12), receiver("osc-per-class"))


@pytest.fixture
def apart():
    apart = PortsProcess(Bench)
    yield apart
    apart.close()


def test_a_receiver_is_tuned_retuned_and_put_back(apart, synthesizer):
    apart.call(Bench.tune, synthesizer.where, MADE)
    assert synthesizer.take(12) == list(MADE.messages)
    assert apart.call(Bench.look) is Presence.THERE
    apart.call(Bench.retune, FLAT)
    assert synthesizer.take(12) == list(FLAT.tuning)
    apart.call(Bench.put_back)
    assert synthesizer.take(12) == list(FLAT.undo)
    assert synthesizer.nothing_waits()


@pytest.fixture
def keyboards(monkeypatch):
    """What plays into each port that is passed through, by the port's name."""
    played = {}

    class Keyboard:
        may_lose_notes = False

        def __init__(self, asked, receive, virtual):
            played[asked], self.name = receive, asked

        def close(self):
            pass

    monkeypatch.setattr("tonegen.keys.set_live.MidiInput", Keyboard)
    monkeypatch.setattr("tonegen.keys.ports_process.keep_pauses_short", lambda: None)
    return played


def test_a_note_that_passes_through_keeps_its_tune_when_the_temperament_changes(synthesizer, keyboards):
    """The tuning of its channel would bend it while it sounds; the next note brings the new one."""
    sharp, flat = (
        plan(scale_of_classes(name, [cents] * 12), receiver("twelve-channel-bend"))
        for name, cents in (("sharp", 10.0), ("flat", -10.0))
    )
    bench = Bench()
    bench.tune(synthesizer.where, sharp)
    synthesizer.take(len(sharp.messages))
    bench.retune(flat)
    assert synthesizer.take(len(flat.tuning)) == list(flat.tuning), "nothing sounds yet"
    bench.retune(sharp)
    synthesizer.take(len(sharp.tuning))

    bench.pass_through("Keys", sharp)
    keyboards["Keys"](b"\x90\x40\x50")
    [note] = synthesizer.take(1)
    bench.retune(flat)
    assert synthesizer.nothing_waits()
    keyboards["Keys"](b"\x80\x40\x50")
    keyboards["Keys"](b"\x90\x40\x50")
    off, bend, again = synthesizer.take(3)
    assert (off[0] & 0xF0, bend[0] & 0xF0, again[0] & 0xF0) == (0x80, 0xE0, 0x90)
    assert again[1:] == note[1:]
    bench.put_back()


def test_notes_that_pass_through_follow_the_chord_until_told_otherwise(synthesizer, keyboards):
    """E4 under the steel's string C4: a third of 5:4, 13.7 cents below equal (Helmholtz and Ellis)."""
    made = plan(scale_of_classes("equal", [0.0] * 12), receiver("mpe"))
    bench = Bench()
    bench.follow(made, Lead.STEEL, ())
    assert bench.chord() == ()
    bench.tune(synthesizer.where, made)
    bench.pass_through("Keys", made)
    bench.follow(made, Lead.STEEL, [(60, 0.0)])
    keyboards["Keys"](b"\x90\x40\x50")
    [(key, cents)] = bench.chord()
    assert (key, round(cents)) == (64, -13)
    keyboards["Keys"](b"\x80\x40\x50")
    assert bench.chord() == ()

    bench.follow(made, Lead.SONG, [(60, 0.0)])
    keyboards["Keys"](b"\x90\x41\x50")
    assert bench.chord() == ((65, 0.0),), "alone it stands where the song has it"
    bench.follow(made, Lead.OFF, ())
    keyboards["Keys"](b"\x90\x43\x50")
    assert bench.chord() == ()
    bench.put_back()


def test_panic_silences_a_receiver_that_is_only_tuned_and_notes_that_pass_through(synthesizer, keyboards):
    made = plan(scale_of_classes("sharp", [10.0] * 12), receiver("twelve-channel-bend"))
    silence = list(notes_off(range(1, 17)))
    bench = Bench()
    bench.panic()
    bench.tune(synthesizer.where, made)
    synthesizer.take(len(made.messages))
    bench.panic()
    assert synthesizer.take(len(silence)) == silence

    bench.pass_through("Keys", made)
    keyboards["Keys"](b"\x90\x40\x50")
    [note] = synthesizer.take(1)
    bench.panic()
    assert synthesizer.take(1 + len(silence)) == [bytes((note[0] & 0x8F, 0x40, 64)), *silence]
    bench.put_back()


def test_the_end_of_the_program_puts_it_back(apart, synthesizer):
    apart.call(Bench.tune, synthesizer.where, MADE)
    apart.close()
    assert synthesizer.take(24) == [*MADE.messages, *MADE.undo]


def test_a_program_that_is_killed_leaves_it_put_back(synthesizer):
    """And Ctrl-C at its terminal is for the program alone."""
    tunes = (
        "import sys; from tests.keys.test_ports_process import MADE; "
        "from tonegen.keys.ports_process import PortsProcess, Bench; "
        "apart = PortsProcess(Bench); apart.call(Bench.tune, sys.argv[1], MADE); "
        "print('tuned', flush=True); sys.stdin.read()"
    )
    program = subprocess.Popen(
        [sys.executable, "-c", tunes, synthesizer.where],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True,
    )  # fmt: skip
    assert program.stdout.readline() == b"tuned\n"
    assert synthesizer.take(12) == list(MADE.messages)
    os.killpg(program.pid, signal.SIGKILL)
    program.communicate(timeout=20)

    assert synthesizer.take(12) == list(MADE.undo)


def test_where_the_other_process_is_killed_the_guard_puts_it_back_and_the_next_call_begins_anew(
    apart, synthesizer
):
    apart.call(Bench.tune, synthesizer.where, MADE)
    apart._process.kill()
    assert synthesizer.take(24) == [*MADE.messages, *MADE.undo]
    with pytest.raises(NoSuchDevice, match="has stopped, and they were put back; send again"):
        apart.call(Bench.look)

    apart.call(Bench.tune, synthesizer.where, MADE)
    assert synthesizer.take(12) == list(MADE.messages)


def test_what_cannot_be_is_said_here_and_the_process_goes_on(apart, synthesizer):
    with pytest.raises(NoSuchDevice, match="nowhere"):
        apart.call(Bench.tune, "osc nowhere.example", MADE)
    with pytest.raises(BadValue, match="send the tuning first"):
        apart.call(Bench.pass_through, "Keys", MADE)
    assert apart.call(Bench.look) is Presence.THERE, "nothing is tuned, so that nothing is missing"
    apart.call(Bench.tune, synthesizer.where, MADE)
    assert synthesizer.take(12) == list(MADE.messages)
