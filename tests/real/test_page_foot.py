"""A foot board at a real port moves the pedals of the page."""

from tests.page.running import RunningPage
from tonegen.keys.ports import MidiOutput


def control(number, value):
    return bytes((0xB0, number, value))


def test_a_pedal_is_learned_goes_half_way_and_is_there_again_after_a_restart(
    sound_server, midi_system, tmp_path
):
    running = RunningPage(tmp_path / "own", environment=sound_server.environment)
    board = MidiOutput("Foot Board", virtual=True)
    with running, running.page() as page:
        page.ask("keys")
        (port,) = [
            name for name in page.shown("keys", lambda keys: keys["inputs"])["inputs"] if "Foot Board" in name
        ]
        page.ask("footinput", port=port)
        page.shown("foot", lambda foot: foot["words"].startswith("Listening"))
        midi_system.wait_for_periods()
        page.ask("learnpedal", change="A")
        page.shown("foot", lambda foot: foot["learns"] == "A")
        board.send(control(20, 127))
        foot = page.shown("foot", lambda foot: not foot["learns"])
        assert {"change": "A", "control": "controller 20, channel 1"} in foot["pedals"]
        board.send(control(20, 64))
        page.shown("view", lambda view: view["playing"]["travels"].get("A") == 64 / 127)

    with running, running.page() as page:
        page.shown("foot", lambda foot: foot["words"].startswith("Listening"))
        midi_system.wait_for_periods()
        board.send(control(20, 127))
        page.shown("view", lambda view: view["playing"]["travels"].get("A") == 1.0)
        board.close()
        page.shown("foot", lambda foot: "as soon as it is there" in foot["words"])
