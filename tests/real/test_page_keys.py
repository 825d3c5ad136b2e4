"""The keyboards from the page, in Chromium: what arrives at a JACK port, byte by byte, and what undoes it."""

import queue
import socket
import struct

import jack
import pytest

from tests.page.running import RunningPage
from tonegen import presets
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import Policy, heard_grips, scale_of_instrument


class Synthesizer:
    """A receiver on a JACK port, which keeps what it is sent."""

    def __init__(self, sound_server, name="synthesizer"):
        self.client = jack.Client(name, servername=sound_server.name, no_start_server=True)
        self.messages = queue.Queue()
        port = self.client.midi_inports.register("in")

        def process(_):
            for _, data in port.incoming_midi_events():
                self.messages.put(bytes(data))

        self.client.set_process_callback(process)
        self.client.activate()

    def received(self, count):
        return [self.messages.get(timeout=20) for _ in range(count)]

    def close(self):
        self.client.deactivate()
        self.client.close()


@pytest.fixture
def page(sound_server, laptop, tmp_path):
    with (
        RunningPage(tmp_path / "own", environment=sound_server.environment) as running,
        laptop(running) as page,
    ):
        yield page


def wanted(name, temperament="five-limit-just"):
    """The plan that the core makes for the same rig."""
    instrument = presets.instrument("e9-ten-string")
    heard = heard_grips(instrument)
    scale = scale_of_instrument(
        instrument, presets.temperament(temperament).on(instrument.root), heard, policy=Policy.MEAN,
        first=heard[0].grip,
    )  # fmt: skip
    return plan(scale, receiver(name))


def choose_port(page, way, name):
    """One of those that were looked for, in or out."""
    there = page.locator(f"#{way} option:has-text('{name}')")
    there.wait_for(state="attached")
    page.select_option(f"#{way}", there.get_attribute("value"))


def send(page):
    page.click("#send")
    page.wait_for_selector(".status[data-status=sent]")


def test_the_tuning_is_sent_follows_the_player_and_is_put_back(page, sound_server):
    synthesizer = Synthesizer(sound_server)
    page.select_option("[aria-label='My targets']", "five-limit-just", force=True)
    page.click("nav [data-part=keys]")
    page.select_option("#receiver", "mts-octave")
    page.click("#ports")
    choose_port(page, "out", "synthesizer")
    send(page)
    made = wanted("mts-octave")
    assert synthesizer.received(len(made.messages)) == list(made.messages)

    page.click("nav [data-part=play]")
    page.select_option("[aria-label='My targets']", "equal", force=True)
    again = wanted("mts-octave", "equal")
    assert synthesizer.received(len(again.tuning)) == list(again.tuning)

    page.click("nav [data-part=keys]")
    page.click("#put-back")
    page.wait_for_selector(".status:has-text('put back')")
    assert synthesizer.received(len(again.undo)) == list(again.undo)
    synthesizer.close()


def test_a_port_that_drops_is_shown_and_tuned_again_when_it_is_back(page, sound_server):
    synthesizer = Synthesizer(sound_server)
    page.click("nav [data-part=keys]")
    page.select_option("#receiver", "mts-octave")
    page.click("#ports")
    choose_port(page, "out", "synthesizer")
    send(page)
    synthesizer.close()
    page.wait_for_selector(".status[data-status=gone]:has-text('is gone')")

    back = Synthesizer(sound_server)
    page.wait_for_selector(".status[data-status=sent]")
    made = wanted("mts-octave", "equal")
    assert back.received(len(made.messages)) == list(made.messages)
    back.close()


class Keyboard:
    """A keyboard on a JACK port, whose keys the test presses."""

    def __init__(self, sound_server, name="keyboard"):
        self.client = jack.Client(name, servername=sound_server.name, no_start_server=True)
        out = self.client.midi_outports.register("out")
        self._pressed = queue.Queue()

        def process(_):
            out.clear_buffer()
            while not self._pressed.empty():
                out.write_midi_event(0, self._pressed.get())

        self.client.set_process_callback(process)
        self.client.activate()

    def send(self, *message):
        self._pressed.put(bytes(message))

    def close(self):
        self.client.deactivate()
        self.client.close()


def test_notes_pass_through_retuned(page, sound_server):
    synthesizer, keyboard = Synthesizer(sound_server), Keyboard(sound_server)
    page.select_option("[aria-label='My targets']", "five-limit-just", force=True)
    page.click("nav [data-part=keys]")
    page.click("#ports")
    choose_port(page, "out", "synthesizer")
    choose_port(page, "in", "keyboard")
    send(page)
    made = wanted("twelve-channel-bend")
    assert synthesizer.received(len(made.messages)) == list(made.messages)
    page.click("#through")
    page.wait_for_selector(".status:has-text('pass through from')")

    keyboard.send(0x90, 64, 100)  # E4 on channel 1
    notes = (message for message in iter(lambda: synthesizer.messages.get(timeout=20), None))
    note = next(message for message in notes if message[0] & 0xF0 == 0x90)
    assert note[1:] == bytes((64, 100))
    assert note[0] & 0x0F == made.receiver.channels[64 % 12] - 1  # each pitch class has a channel of its own
    keyboard.close()
    synthesizer.close()


def test_a_chord_that_is_played_shows_what_each_note_got_and_who_asked(page, sound_server):
    """C4 and E4 over no temperament: the bass stands at equal, E a pure third above it."""
    synthesizer, keyboard = Synthesizer(sound_server), Keyboard(sound_server)
    page.click("nav [data-part=keys]")
    page.select_option("#receiver", "mpe")
    page.select_option("#lead", "bass")
    page.click("#ports")
    choose_port(page, "out", "synthesizer")
    choose_port(page, "in", "keyboard")
    send(page)
    page.click("#through")
    page.wait_for_selector(".status:has-text('pass through from')")
    keyboard.send(0x90, 60, 100)
    keyboard.send(0x90, 64, 100)

    page.wait_for_selector("#chord tr:has-text('E4'):has-text('for 5:4')")
    assert page.locator("#chord tbody tr").count() == 2
    c, e = (
        float(page.locator(f"#chord tr:has(th:text-is('{note}')) td").first.inner_text().replace("−", "-"))
        for note in ("C4", "E4")
    )
    assert abs(c) < 1
    assert e - c == pytest.approx(-13.7, abs=0.8)
    keyboard.send(0x80, 60, 0)
    keyboard.send(0x80, 64, 0)
    page.wait_for_selector("#chord .hint")
    keyboard.close()
    synthesizer.close()


def test_each_note_goes_to_an_osc_receiver_with_its_frequency(page, sound_server):
    """The bytes of OSC 1.0: strings in fours, big-endian int32 and float32."""
    keyboard = Keyboard(sound_server)
    page.select_option("[aria-label='My targets']", "five-limit-just", force=True)
    page.click("nav [data-part=keys]")
    page.select_option("#receiver", "osc-per-note")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        receiver.settimeout(20)
        page.fill("#osc", f"127.0.0.1:{receiver.getsockname()[1]}")
        page.click("#ports")
        choose_port(page, "in", "keyboard")
        send(page)
        page.click("#through")
        page.wait_for_selector(".status:has-text('pass through from')")
        keyboard.send(0x90, 68, 100)
        keyboard.send(0x80, 68, 0)
        on, off = receiver.recv(1000), receiver.recv(1000)
    key, hz, velocity = struct.unpack(">iff", on[-12:])
    assert on[:-12] == b"/note/on\0\0\0\0,iff\0\0\0\0"
    assert (key, velocity) == (68, pytest.approx(100 / 127))
    assert hz == pytest.approx(329.62756 * 5 / 4, abs=1e-3)  # G# is a pure third above E4
    assert off == b"/note/off\0\0\0,i\0\0" + struct.pack(">i", 68)
    keyboard.close()
