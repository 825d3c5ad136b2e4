"""An evening played: from song to song nothing that sounds is moved, and no note waits.

The listeners are independent, each on a cable of 31,250 baud (MIDI 1.0).
The long form of the night at random, some minutes:
EVENING_EVENTS=1000000 python -m pytest -o faulthandler_timeout=0 tests/keys/test_evening.py
"""

import os

import pytest

from tests.keys.listener import Listener
from tests.keys.night import RIG, Night, events, replan, write
from tonegen.keys import midi
from tonegen.keys.cable import Cable
from tonegen.keys.going import Going
from tonegen.keys.held import HeldKeys
from tonegen.keys.playing import PlayedEvening
from tonegen.keys.receivers import OctaveTuning
from tonegen.keys.tables import Tables

EVENTS = int(os.environ.get("EVENING_EVENTS", "12000"))


@pytest.fixture
def night(tmp_path):
    """A night of these songs with these receivers."""

    def night(*tunings, rig=None, head="", sends=False, place=0):
        return Night(
            write(tmp_path, rig, tunings or ("equal", "quarter-comma-meantone on D"), head, sends), place
        )

    return night


def struck(ear):
    """Cents of the last note."""
    return ear.begun[-1][3]


# -- how good ------------------------------------------------------------------------------------------


def test_a_note_s_own_tune_is_there_with_the_press(night):
    stage = night(rig={"Pad": "mpe"})
    stage.play("903c40").press()
    stage.play("904040")
    _, second = stage.ears["Pad"].begun
    assert second[3] == pytest.approx(stage.made.plans[1]["Pad"].sent_cents[64], abs=0.01)
    assert stage.ears["Pad"].moved == []
    assert stage.evening.state()["going"] is False


@pytest.mark.parametrize(
    ("receiver", "seconds"), [("mts-octave", 0.015), ("stored", 0.025), ("mts-single-note", 0.180)]
)
def test_how_soon_a_silent_receiver_stands_in_the_next_song(night, receiver, seconds):
    """Heard at the end of the cable; of single notes those of a piano's keys."""
    stage = night(rig={"One": receiver}).at(10.0)
    ear = stage.ears["One"]
    ear.wanted = stage.made.plans[1]["One"]
    assert ear.in_tune(ear.wanted) > 5
    stage.press()
    stage.at(11.0)
    print(f"{receiver}: {1000 * (ear.there_at - 10):.1f} ms")
    assert 0 < ear.there_at - 10.0 <= seconds
    assert stage.evening.state()["going"] is False


# -- what waits for what -------------------------------------------------------------------------------


@pytest.mark.parametrize("receiver", ["mts-octave", "twelve-channel-bend", "channel-tuning", "stored"])
def test_a_receiver_by_class_waits_until_it_is_silent(night, receiver):
    """Keys up, pedal up, and the ring of two seconds over; what is played till then is in the old song."""
    stage = night(rig={"One": receiver})
    ear = stage.ears["One"]
    stage.play("b0407f").play("903c40").at(0.5).press()
    stage.at(1.0).play("803c40").at(1.5)
    assert stage.evening.waits() == {"One": ("C4",)}, "the pedal holds it"
    stage.at(2.0).play("904040").at(2.1).play("804040")
    assert struck(ear) == pytest.approx(0.0)
    stage.at(3.0).play("b04000").at(4.9)
    assert stage.evening.waits() == {"One": ()}, "it rings"
    stage.at(5.2)
    assert stage.evening.waits() == {}
    stage.play("904040")
    assert struck(ear) == pytest.approx(stage.made.plans[1]["One"].sent_cents[64], abs=0.01)
    assert (ear.moved, ear.late_tables) == ([], [])


def test_single_notes_go_at_once_and_a_held_one_when_it_ends(night):
    stage = night(rig={"Single": "mts-single-note"})
    ear, after = stage.ears["Single"], stage.made.plans[1]["Single"]
    stage.play("904040").at(1.0).press()
    stage.at(1.3)
    assert stage.evening.waits() == {"Single": ("E4",)}
    assert ear.listener.table_cents(1, 65) == pytest.approx(after.sent_cents[65], abs=0.01)
    assert ear.listener.table_cents(1, 64) == 0.0
    stage.at(2.0).play("804040").at(4.2)
    assert stage.evening.waits() == {}
    assert ear.listener.table_cents(1, 64) == pytest.approx(after.sent_cents[64], abs=0.01)


def test_a_key_that_has_not_been_sent_brings_its_change_right_before_its_note(night):
    """The highest key of a piano would have its turn last."""
    stage = night(rig={"Single": "mts-single-note"})
    ear = stage.ears["Single"]
    stage.press()
    stage.at(0.001).play("906c40")
    assert struck(ear) == pytest.approx(stage.made.plans[1]["Single"].sent_cents[108], abs=0.01)
    assert ear.begun[-1][0] - 0.001 <= 0.025


def test_a_tuning_that_is_kept_is_chosen_right_before_the_note_of_its_channel(night):
    stage = night(rig={"Sampler": "stored"})
    stage.press()
    stage.at(0.0001).play("914040")
    at, _, _, cents = stage.ears["Sampler"].begun[-1]
    assert cents == pytest.approx(stage.made.plans[1]["Sampler"].sent_cents[64], abs=0.01)
    assert at <= 0.025


def test_who_waits_long_is_told_what_for_and_nothing_is_forced(night):
    stage = night(rig={"Organ": "mts-octave", "Pad": "mpe"})
    stage.play("903c40").play("904040").press()
    stage.at(3.9)
    assert stage.evening.waited_long(3.9) == ""
    stage.at(4.1)
    assert stage.evening.waited_long(4.1) == "Organ waits for C4 E4"
    assert stage.evening.waited_long(5.0) == "", "once"
    stage.at(600.0)
    state = stage.evening.state()
    assert state["going"]
    assert [one["state"] for one in state["receivers"]] == ["going", "ready"]
    assert stage.ears["Organ"].late_tables == []


def test_who_was_told_of_a_wait_is_told_when_it_is_over(night):
    """Once; and not where nobody was told, or where another song was gone to meanwhile."""
    stage = night("equal", "quarter-comma-meantone on D", "vallotti on C", rig={"Organ": "mts-octave"})
    told = stage.evening.waited_long
    stage.play("903c40").press()
    stage.at(4.1)
    assert told(4.1) == "Organ waits for C4"
    stage.play("803c40").at(5.0)
    assert told(5.0) == "", "it rings"
    stage.at(7.0)
    assert (told(7.0), told(7.1)) == ("All receivers are ready", "")
    stage.press()
    stage.at(13.0)
    assert told(13.0) == told(13.1) == "", "nothing was waited for"
    stage.play("903c40").press("b0517f")
    stage.at(17.5)
    assert told(17.5) == "Organ waits for C4"
    stage.press("b0507f")
    stage.play("803c40").at(22.0)
    assert told(22.0) == ""


def test_a_song_that_is_left_before_it_was_reached_leaves_nothing(night):
    stage = night(rig={"Organ": "mts-octave"})
    stage.play("903c40").press()
    stage.at(1.0).press("b0517f")
    assert stage.evening.waits() == {}
    stage.play("803c40").at(5.0)
    assert stage.ears["Organ"].listener.octave[1] == [0.0] * 12


@pytest.mark.parametrize("receiver", ["mts-octave", "twelve-channel-bend", "stored"])
def test_a_note_that_ends_the_silence_is_in_the_new_song(night, receiver):
    """It is struck before anything else was done about it."""
    stage = night(rig={"One": receiver})
    stage.play("903c40").press()
    stage.at(1.0).play("803c40")
    stage.now = 10.0
    stage.play("904040")
    assert struck(stage.ears["One"]) == pytest.approx(stage.made.plans[1]["One"].sent_cents[64], abs=0.01)
    assert stage.ears["One"].moved == []


def test_two_songs_at_once_leave_nothing_to_be_sent_while_a_note_sounds(night):
    """The second octave message would wait for the cable, and the note that comes first has no part in it."""
    songs = ("equal", "quarter-comma-meantone on C", "vallotti on C")
    stage = night(*songs, rig={"Organ": "mts-octave"}).at(10.0)
    stage.press()
    stage.press("c002")
    stage.at(10.001).play("903c40").at(12.0)
    ear = stage.ears["Organ"]
    assert ear.in_tune(stage.made.plans[2]["Organ"]) < 0.01
    assert ear.late_tables == []
    assert max(ear.waited) <= 0.025


def test_the_whole_song_is_there_before_a_note_that_stands_alike_in_both(night):
    """C does: its own change is none, and that of the others must not come while it sounds."""
    stage = night("equal", "quarter-comma-meantone on C", rig={"Organ": "mts-octave"})
    stage.play("903c40").press()
    stage.at(1.0).play("803c40")
    stage.now = 10.0
    stage.play("903c40").at(12.0)
    assert stage.ears["Organ"].in_tune(stage.made.plans[1]["Organ"]) < 0.01
    assert stage.ears["Organ"].late_tables == []


# -- what a song sends ---------------------------------------------------------------------------------


def test_a_program_waits_until_its_channel_is_let_go(night):
    stage = night("equal", "equal", rig={"Pad": "mpe", "Single": "mts-single-note"}, sends=True)
    stage.play("903c40").press()
    stage.at(2.0)
    assert stage.ears["Pad"].programs == stage.ears["Single"].programs == []
    stage.play("803c40")
    stage.due = stage._between()
    stage.at(2.1)
    assert [held for _, held in stage.ears["Pad"].programs] == [False]
    assert [held for _, held in stage.ears["Single"].programs] == [False]
    assert stage.ears["Pad"].listener.program[1] == 1
    assert stage.evening.waits() == {}


def test_a_program_goes_right_before_the_first_note_after_the_press(night):
    stage = night("equal", "equal", rig={"Single": "mts-single-note"}, sends=True)
    stage.play("903c40").press()
    stage.at(1.0).play("803c40").play("904040")
    kinds = [message[0] & 0xF0 for message in stage.ears["Single"].listener.log]
    assert kinds[-3:] == [0x80, 0xC0, 0x90]


def test_a_long_message_of_a_song_waits_for_a_pause(tmp_path):
    write(tmp_path, {"One": "mpe"}, ("equal", "equal"), sends=False)
    long = "F0 7D" + " 00" * 400 + " F7"
    path = tmp_path / "night.toml"
    path.write_text(f'{path.read_text()}[[songs.sends]]\nto = "One"\nbytes = "{long}"\n')
    stage = Night(replan(path))
    stage.play("903c40").at(0.5).press()
    stage.at(1.0).play("803c40").at(3.9)
    assert max(map(len, stage.ears["One"].listener.log)) < 34
    stage.at(4.3)
    assert max(map(len, stage.ears["One"].listener.log)) == 403


# -- receivers that go and come ------------------------------------------------------------------------


@pytest.mark.parametrize("receiver", [*RIG.values(), "channel-tuning"])
def test_a_receiver_that_comes_back_stands_in_the_song_of_that_moment(night, receiver):
    stage = night(rig={"One": receiver, "Pad": "mpe"}, sends=True)
    stage.play("903c40").at(1.0).go_away("One")
    stage.press()
    assert stage.evening.state()["receivers"][0]["state"] == "gone"
    assert "One" not in stage.evening.waits()
    stage.at(5.0).come_back("One")
    stage.at(9.0).play("803c40").at(9.1)
    assert stage.evening.waits() == {}
    stage.play("904040")
    ear = stage.ears["One"]
    assert struck(ear) == pytest.approx(stage.made.plans[1]["One"].sent_cents[64], abs=0.01)
    assert ear.listener.program[1] == 1
    assert ear.moved == []


def test_a_receiver_that_comes_back_keeps_all_its_tunings_again(night):
    """Though the player goes on before the first of them is sent: each dump waits for its pause."""
    stage = night(rig={"One": "stored"})
    stage.go_away("One")
    stage.come_back("One")
    stage.at(5.0)
    assert len([message for message in stage.ears["One"].listener.log if len(message) > 400]) == 2
    stage.go_away("One")
    stage.come_back("One")
    stage.press()
    stage.at(9.0).press("b0517f")
    stage.at(18.0)
    ear = stage.ears["One"]
    assert ear.in_tune(stage.made.plans[0]["One"]) < 0.01
    stage.press()
    stage.at(20.0)
    assert ear.in_tune(stage.made.plans[1]["One"]) < 0.01


# -- zones, channels, controls -------------------------------------------------------------------------


def test_a_keyboard_split(tmp_path):
    write(tmp_path, {"Low": "mts-octave", "High": "mts-single-note"})
    path = tmp_path / "night.toml"
    text = path.read_text()
    text = text.replace('port = "Low"', 'port = "Low"\nfrom_keys = "C0 to B3"\ntranspose = 12')
    path.write_text(
        text.replace('port = "High"', 'port = "High"\nfrom_keys = "C4 to C8"\nfrom_channels = [2]')
    )
    stage = Night(replan(path))
    stage.play("903040").play("904040").play("914040").play("b0407f").press()
    assert [key for _, _, key, _ in stage.ears["Low"].begun] == [60]
    assert [(channel, key) for _, channel, key, _ in stage.ears["High"].begun] == [(2, 64)]
    stage.at(5.0)
    assert stage.evening.waits() == {"Low": ("C3",), "High": ("E4",)}, "as the player has them"
    stage.play("803040").play("b04000").play("814040").at(8.0)
    assert stage.evening.waits() == {}
    assert stage.ears["Low"].listener.sounding() == stage.ears["High"].listener.sounding() == set()


def test_a_sound_that_was_not_sent_yet_is_sent_with_the_next_song(night):
    """A song with a program, left while its notes were held, for one that names none."""
    stage = night("equal", "equal", "equal", rig={"Pad": "mpe"}, sends=True)
    stage.play("903c40").press()
    stage.at(1.0).press()
    stage.at(2.0).play("803c40").play("904040")
    assert stage.ears["Pad"].listener.program[1] == 1


def test_what_a_foot_board_sends_goes_to_no_sound(night):
    stage = night(rig={"Pad": "mpe"})
    for text in ("b0507f", "b05000", "903c40", "b0077f", "c003"):
        stage.press(text)
    assert stage.ears["Pad"].listener.struck == []
    assert stage.evening.presses.place == 1
    assert [message for message in stage.ears["Pad"].listener.log if message[0] & 0xF0 == 0xC0] == []


@pytest.mark.parametrize("receiver", ["mpe", "twelve-channel-bend", "mts-octave"])
def test_a_foot_ends_all_that_sounds(tmp_path, receiver):
    """Held, and kept by a pedal; the foot's own note is none of it."""
    write(tmp_path, {"One": receiver})
    path = tmp_path / "night.toml"
    path.write_text(f'{path.read_text()}[[controls]]\nfrom = "board"\non = "note 36"\ndoes = "panic"\n')
    stage = Night(replan(path))
    stage.play("b0407f").play("903c40").play("904040").play("803c40")
    assert len(stage.ears["One"].listener.sounding()) == 2
    stage.press("902440")
    assert stage.ears["One"].listener.sounding() == set()
    ended = {(message[0] & 0x0F, message[1]) for message in stage.ears["One"].listener.log
             if message[0] & 0xF0 == 0xB0 and not message[2]}  # fmt: skip
    assert {(channel, number) for channel in range(16) for number in (64, 66, 120, 123)} <= ended
    assert stage.evening.presses.place == 0


# -- a night at random ---------------------------------------------------------------------------------


def perform(made, count, seed=1):
    """What is wrong with a night of so many events, in words; and the night."""
    night, faults = Night(made), []
    pressed = {}
    steps = 0
    for pause, kind, what in events(count, seed):
        night.at(night.now + pause)
        if kind == "play":
            night.play(what)
        elif kind == "press":
            before = night.evening.presses.place
            night.press(what)
            if night.evening.presses.place != before:
                steps += 1
                if night.now - pressed.get(what, -1.0) < 0.8:
                    faults.append(f"{what} was taken twice")
                if abs(night.evening.presses.place - before) > 1 and what not in pressed:
                    faults.append(f"{what} skipped songs")
            if what != "b05000":
                pressed[what] = night.now
        elif kind == "port" and what in night.gone:
            night.come_back(what)
        elif kind == "port" and len(night.gone) < 2:
            night.go_away(what)
    for name in tuple(night.gone):
        night.come_back(name)
    night.settle()
    for name, ear in night.ears.items():
        faults += [
            f"{name}: key {key} moved by {cents:.1f} cents at {at:.3f}" for at, key, cents in ear.moved
        ]
        faults += [f"{name}: tuned while notes sounded, at {at:.3f}" for at in ear.late_tables]
        faults += [f"{name}: a program while notes were held, {at:.3f}" for at, held in ear.programs if held]
        faults += [f"{name}: a note waited {1000 * one:.0f} ms" for one in ear.waited if one > 0.025]
        if night.evening.goings[name].tables is not None:
            off = ear.in_tune(made.plans[night.evening.presses.place][name])
            faults += [f"{name}: stands {off:.1f} cents off in the end"] if off > 0.01 else []
    faults += [f"never ready: {night.evening.waits()}"] if night.evening.waits() else []
    return faults, night, steps


@pytest.mark.long
def test_a_night_at_random(tmp_path):
    faults, night, steps = perform(write(tmp_path), EVENTS)

    assert faults == []
    assert steps > EVENTS / 60
    assert min(len(ear.begun) for ear in night.ears.values()) > EVENTS / 10


def forgets_the_sustain_pedal(monkeypatch):
    whole = HeldKeys.control
    monkeypatch.setattr(
        HeldKeys, "control", lambda self, cc, value: None if cc == midi.SUSTAIN else whole(self, cc, value)
    )


def forgets_held_keys(monkeypatch):
    monkeypatch.setattr(HeldKeys, "strike", lambda self, key: None)
    monkeypatch.setattr(Tables, "_end", lambda self, number, keys: None)


def tunes_what_rings(monkeypatch):
    monkeypatch.setattr(Tables, "_may_go", lambda self, unit, now: not self._sounding[unit])


def sends_the_octave_message_while_notes_sound(monkeypatch):
    silent = Going._is_silent

    def is_silent(self, now):
        return isinstance(self.plan.receiver, OctaveTuning) or silent(self, now)

    monkeypatch.setattr(Going, "_is_silent", is_silent)


@pytest.mark.long
@pytest.mark.parametrize(
    ("broken", "told"),
    [
        (forgets_the_sustain_pedal, "moved"),
        (forgets_held_keys, "moved"),
        (tunes_what_rings, "Single: key"),
        (sends_the_octave_message_while_notes_sound, "Organ: tuned while notes sounded"),
    ],
    ids=lambda one: getattr(one, "__name__", ""),
)
def test_a_broken_sender_is_caught(tmp_path, monkeypatch, broken, told):
    broken(monkeypatch)
    faults, _, _ = perform(write(tmp_path), 4000)

    assert any(told in fault for fault in faults)


# -- keys that follow the chord ------------------------------------------------------------------------


STEEL = """
title = "Invented: keys that follow the chord"
instrument = "e9-ten-string"
temperament = "five-limit-just"
[[receivers]]
name = "Pad"
receiver = "mpe"
port = "Pad"
follow = "LEAD"
[[controls]]
on = "control 20"
moves = "A"
[[controls]]
from = "board"
on = "control 80"
does = "next"
[[songs]]
name = "First"
fret = 0
[[songs]]
name = "Second"
fret = 5
"""


class Pad:
    """A set with one receiver that follows the chord, heard as it is played."""

    def __init__(self, folder, lead):
        path = folder / "chords.toml"
        path.write_text(STEEL.replace("LEAD", lead))
        self.made = replan(path)
        self.listener = Listener()
        for message in self.made.start("Pad"):
            self.listener.send(message)
        self.playing = PlayedEvening(self.made, {"Pad": Cable(self.listener.send)})

    def strike(self, key):
        """The offset that a note gets; it is let go again."""
        self.playing.receive(bytes((0x90, key, 80)))
        pitch = self.listener.struck[-1][2] - 100 * key
        self.playing.receive(bytes((0x80, key, 64)))
        return pitch


def test_in_a_set_the_lowest_note_leads_at_equal_temperament(tmp_path):
    """Also where a steel is there, which is in just intonation."""
    pad = Pad(tmp_path, "bass")
    for message in (b"\x90\x34\x50", b"\x90\x38\x50"):  # E and G sharp
        pad.playing.receive(message)
    pitches = {key: pad.listener.pitch_cents(channel, key) for channel, key in pad.listener.sounding()}

    assert pitches[52] == pytest.approx(5200, abs=1)
    assert pitches[56] - pitches[52] == pytest.approx(386.3, abs=1.5)
    pad.playing.close()


def test_in_a_set_the_steel_s_strings_lead_with_pedals_and_from_song_to_song(tmp_path):
    """String 5 is B; A raises it to C sharp. At fret 5 the open third string has the note C sharp as well."""
    pad = Pad(tmp_path, "steel")
    place = {travel: dict(pad.made.strings(0, {"A": travel})) for travel in (0, 1)}
    other = dict(pad.made.strings(1, {}))
    both = sorted(set(place[0]) & set(other))[-1]

    assert pad.strike(71) == pytest.approx(place[0][59], abs=0.3), "an octave of string 5"
    pad.playing.receive(b"\xb0\x14\x7f")
    pad.playing.follow_steel()
    assert pad.strike(73) == pytest.approx(place[1][61], abs=0.3)
    pad.playing.receive(b"\xb0\x14\x00")
    pad.playing.follow_steel()
    pad.playing.receive(b"\xb0\x50\x7f", "board")
    assert pad.made.states[1].fret == 5
    assert pad.strike(both) == pytest.approx(other[both], abs=0.3)
    pad.playing.close()
