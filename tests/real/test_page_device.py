"""The page's sound on a device: what the server of the device is given beats as the page shows."""

import queue

import jack
import numpy as np
import pytest

from tests.jack import running_server
from tests.measure import beat_of
from tests.page.running import RunningPage
from tonegen.ear.history import History


def playing_to(server, own_folder):
    options = ("--device", "system", "--block", "256")
    return RunningPage(own_folder, *options, environment=server.environment)


def recorded(sound_server, seconds):
    """Left channel of what plays to the server's own outputs."""
    client = jack.Client("listener", servername=sound_server.name, no_start_server=True)
    blocks = queue.Queue()
    mine = client.inports.register("left")
    client.set_process_callback(lambda _: blocks.put(mine.get_array().copy()))
    with client:
        [theirs] = client.get_all_connections("system:playback_1")
        client.connect(theirs, mine)
        count = round(seconds * client.samplerate / client.blocksize)
        return np.concatenate([blocks.get(timeout=20) for _ in range(count + 4)][4:])


def test_the_device_plays_the_beat_that_the_page_shows(sound_server, tmp_path):
    with playing_to(sound_server, tmp_path / "own") as running, running.page() as page:
        page.ask("choose", temperament="five-limit-just")
        page.ask("strings", strings=[5, 6])
        page.ask("offset", string=6, offset_cents=-18.19)
        view = page.shown("view", lambda view: view["undo"].startswith("string 6"))
        page.ask("only", low="6", high="5")
        page.ask("sound", on=True)
        page.shown("view", lambda view: view["outlet"].startswith("on "))
        page.shown("moment", lambda moment: moment["heard_frame"] > 48_000)
        sound = recorded(sound_server, 4)

    (pair,) = view["pairs"]
    assert beat_of(sound, 48_000, 1236.0) == pytest.approx(abs(pair["beats_per_second"]), abs=0.03)
    assert np.abs(sound).max() < 10 ** (-24 / 20)


def test_looking_for_ports_does_not_stop_the_sound(tmp_path):
    """Each way a client comes, JACK waits for the page's own sound: it must not wait for JACK in turn."""
    with (
        running_server(tmp_path, 1024, in_step=False) as server,
        playing_to(server, tmp_path / "own") as running,
        running.page() as page,
    ):
        page.ask("sound", on=True)
        page.shown("view", lambda view: view["outlet"].startswith("on "))
        page.shown("moment", lambda moment: moment["heard_frame"] > 24_000)
        listener = jack.Client("synthesizer", servername=server.name, no_start_server=True)
        listener.midi_inports.register("in")
        mine = listener.inports.register("left")
        periods = []
        listener.set_process_callback(lambda _: periods.append(listener.last_frame_time))
        with listener:
            [theirs] = listener.get_all_connections("system:playback_1")
            listener.connect(theirs, mine)  # called once the page has given its sound
            page.ask("keys")
            page.shown("keys", lambda keys: any("synthesizer" in name for name in keys["outputs"]))

    assert len(periods) > 10
    assert np.diff(np.array(periods, np.uint32)).max() < 0.2 * server.sample_rate


def test_a_trial_is_played_by_the_device(sound_server, tmp_path):
    """A tone that is moved until it is nearly pure: the device is given the beat that was settled for."""
    with playing_to(sound_server, tmp_path / "own") as running, running.page() as page:
        page.ask("train", kind="set", person="Ada", trials=1, intervals="5:4", cents="1")
        page.shown("view", lambda view: view["outlet"].startswith("on "))
        page.ask("move", cents=4.0)
        page.shown("ears", lambda shown: shown["asked"]["moved_cents"] == 4.0)
        page.shown("moment", lambda moment: moment["heard_frame"] > 24_000)
        sound = recorded(sound_server, 4)
        page.ask("settle", number=0, cents=4.0)
        page.shown("ears", lambda shown: shown["asked"] is None)
    (path,) = tmp_path.rglob("ear.sqlite")
    with History(path) as history:
        (row,) = history.rows("Ada")
    own = row.again().sounds[0].with_error(row.answer)

    assert abs(beat_of(sound, 48_000, 5 * own.tones_hz[0])) == pytest.approx(abs(own.rate), abs=0.05)


def test_a_device_that_is_lost_is_said_and_the_page_goes_on(mortal_sound_server, tmp_path):
    with playing_to(mortal_sound_server, tmp_path / "own") as running, running.page() as page:
        page.ask("sound", on=True)
        page.shown("view", lambda view: view["outlet"].startswith("on "))
        mortal_sound_server.process.kill()
        assert "was lost" in page.shown("fault")["text"]
        page.shown("view", lambda view: view["outlet"] == "nowhere")
        first = page.shown("moment")["frame"]
        page.shown("moment", lambda moment: moment["frame"] > first)


def test_a_device_that_was_plugged_in_later_is_found(tmp_path):
    """A sound server that starts after the page stands for it; the names of servers are always the same."""
    with running_server(tmp_path) as before:
        pass
    with playing_to(before, tmp_path / "own") as running, running.page() as page:
        page.ask("sound", on=True)
        page.shown("view", lambda view: view["outlet"] == "nowhere")
        page.ask("devices")
        assert "system" not in page.shown("devices")["names"]
        with running_server(tmp_path) as server:
            assert server.name == before.name
            page.ask("devices")
            assert "system" in page.shown("devices")["names"]
            page.ask("device", name="system")
            page.shown("view", lambda view: view["outlet"].startswith("on "))
            assert np.abs(recorded(server, 0.2)).max() > 0
            page.ask("sound", on=False)


def test_a_sound_that_begins_looks_for_its_device_itself(tmp_path):
    with running_server(tmp_path) as before:
        pass
    with playing_to(before, tmp_path / "own") as running, running.page() as page:
        page.ask("sound", on=True)
        page.shown("view", lambda view: view["outlet"] == "nowhere")
        page.ask("sound", on=False)
        page.shown("view", lambda view: view["outlet"] == "")
        with running_server(tmp_path):
            page.ask("sound", on=True)
            page.shown("view", lambda view: view["outlet"].startswith("on "))
