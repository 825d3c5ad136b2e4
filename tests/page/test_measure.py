"""A receiver heard from the page: played, corrected, played again, put back; a synthesizer of the tests."""

from types import SimpleNamespace

import pytest

from tests.keys.test_measured import RATE, Synthesizer
from tests.page import asks
from tests.page.visitor import in_the_loop, visitor
from tonegen.errors import BadValue
from tonegen.keys.receivers import receiver
from tonegen.page import apart
from tonegen.page.measure import bench as benches

OWN_CENTS = {60: 3.0, 67: -5.0}


class Room:
    """A synthesizer at a port under a guard, and the card that hears it; all in this process."""

    def __init__(self, monkeypatch, mute=()):
        self.synthesizer = Synthesizer(OWN_CENTS.get, mute=mute)
        self.closed = 0
        room = self

        class Rig:
            def __init__(self):
                self.doors = {}

            def hold(self, where, undo, _):
                self.where, self.undo = where, undo
                self.doors[where] = SimpleNamespace(door=SimpleNamespace(send=room.synthesizer.send))

            def tune(self, tunings):
                for messages, _ in tunings[self.where]:
                    for message in messages:
                        room.synthesizer.send(message)

            def close(self):
                room.closed += 1
                for message in self.undo:
                    room.synthesizer.send(message)

        class Card:
            device = SimpleNamespace(name="cable")
            sample_rate = RATE

            def __init__(self, device, channel):
                room.chosen = device, channel

            def __enter__(self):
                return self

            def __exit__(self, *_):
                pass

            def blocks(self):
                while True:
                    yield room.synthesizer.next_block()

        class InThisProcess:
            def __init__(self, kind):
                self.bench = kind()

            def call(self, do, *given, **named):
                return do(self.bench, *given, **named)

            def close(self):
                self.bench.put_back()

        monkeypatch.setattr(apart, "PortsProcess", InThisProcess)
        monkeypatch.setattr(benches, "TunedRig", Rig)
        monkeypatch.setattr(benches, "SoundInput", Card)
        monkeypatch.setattr(benches, "chosen_input", lambda name: name)
        monkeypatch.setattr(benches, "kept_clock", lambda _: None)
        monkeypatch.setattr(benches, "put_back_left", lambda _: ())


def page_with(*asked):
    chosen = asks.Receiver("mts-single-note", "mean", False)
    return visitor(None, None, asks.ChooseInput("pickup", 2), chosen, *asked)


def number(text):
    return float(text.replace("−", "-"))


def test_a_receiver_is_heard_put_back_and_saved(monkeypatch, own_folder):
    room = Room(monkeypatch)

    @in_the_loop
    async def check():
        page = page_with(asks.HearReceiver("midi Stage", "C4, G4"))
        shown = await page.until("measuring", lambda shown: shown["plays"])
        assert shown["whole"] == 6
        shown = await page.until("measuring", lambda shown: shown["found"])
        assert room.chosen == ("pickup", 2)
        assert (shown["plays"], shown["done"]) == (False, 6)
        assert [row["note"] for row in shown["rows"]] == ["C4", "G4"]
        assert [number(row["own"]) for row in shown["rows"]] == pytest.approx([3.0, -5.0], abs=0.1)
        assert all(abs(number(row["left"])) < 0.1 for row in shown["rows"])
        assert shown["words"].startswith("heard, and put back; left: 0.0")
        assert room.closed == 1
        page.ask(asks.SaveReceiver("my-stage"))
        assert page.shown["measuring"]["words"].startswith("saved as my-stage")
        assert "my-stage" in page.shown["keys"]["receivers"]
        await page.engine.close()

    check()
    assert receiver("my-stage").own_by_key == pytest.approx(OWN_CENTS, abs=0.1)


def test_it_can_be_stopped_and_leaves_no_note(monkeypatch):
    room = Room(monkeypatch)

    @in_the_loop
    async def check():
        page = page_with(asks.HearReceiver("midi Stage", "C4, G4"))
        await page.until("measuring", lambda shown: "heard at" in shown["words"])
        with pytest.raises(BadValue, match="being measured; stop that first"):
            page.ask(asks.Send("midi Stage"))
        page.ask(asks.StopHearing())
        shown = await page.until("measuring", lambda shown: not shown["plays"])
        assert shown["words"] == "stopped, and the receiver was put back"
        assert room.closed == 1
        assert not any(room.synthesizer.listener.down)
        assert len(room.synthesizer.listener.struck) < 6  # of two keys, three times
        await page.engine.close()

    check()


def test_where_nothing_is_heard_that_is_said_and_the_receiver_is_put_back(monkeypatch):
    room = Room(monkeypatch, mute=range(128))

    @in_the_loop
    async def check():
        page = page_with(asks.HearReceiver("midi Stage", "C4-E4"))
        fault = await page.until("fault")
        assert fault["text"].startswith("nothing heard; is the right input chosen")
        await page.until("measuring", lambda shown: not shown["plays"])
        assert room.closed == 1
        await page.engine.close()

    check()


@in_the_loop
def test_what_cannot_be_measured_is_refused():
    page = page_with(asks.TurnSound(True))
    with pytest.raises(BadValue, match="stop the page's own sound first"):
        page.ask(asks.HearReceiver("midi Stage", "C3-C5"))
    page.ask(asks.TurnSound(False))
    with pytest.raises(BadValue, match="not a place that this receiver can be reached at"):
        page.ask(asks.HearReceiver("osc 127.0.0.1:9000", "C3-C5"))
    with pytest.raises(BadValue, match="write the lower note first"):
        page.ask(asks.HearReceiver("midi Stage", "C5-C3"))
    with pytest.raises(BadValue, match="nothing was found yet"):
        page.ask(asks.SaveReceiver("mine"))
