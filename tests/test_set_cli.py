"""tonegen set: an evening checked and shown before its first byte."""

import json
from dataclasses import replace

import pytest
from msgspec.json import encode

from tests.cli import CommandLine
from tonegen.keys.set_times import SHOW_CONTROL_CAUTION
from tonegen.page.keeping import Kept, kept_file, kept_set
from tonegen.page.setting import Setting
from tonegen.presets.sets import set_list
from tonegen.setup.setting import Song

NIGHT = """\
title = "Invented: a test night"
instrument = "e9-ten-string"

[[receivers]]
name = "Piano"
receiver = "mts-single-note"
port = "Stage"
follows = "vallotti on key"

[[receivers]]
name = "Organ"
receiver = "mts-octave"
port = "Organ"

[[receivers]]
name = "Choir"
receiver = "osc-per-note"
to = "127.0.0.1:9000"

[[songs]]
name = "Waltz"
key = "G"
line = "Slow"

[[songs]]
name = "Polka"
key = "D"
follows = { Organ = "vallotti on C" }

[[songs.sends]]
to = "Organ"
program = 17
bank = [0, 2]
channel = 1
"""


@pytest.fixture
def run(monkeypatch, capsys):
    return CommandLine(monkeypatch, capsys)


@pytest.fixture
def night(tmp_path):
    """The path of a set with this text."""

    def night(text=NIGHT):
        path = tmp_path / "night.toml"
        path.write_text(text)
        return path

    return night


def test_check_counts_every_byte_that_it_lists_and_their_time_on_a_cable(run, night):
    """MIDI 1.0: 31,250 baud, ten bits to the byte."""
    found = run(f"tonegen set check {night()} --json").json
    assert [song["name"] for song in found["songs"]] == ["Waltz", "Polka"]
    for song in found["songs"]:
        assert [one["name"] for one in song["receivers"]] == ["Piano", "Organ", "Choir"]
        for one in song["receivers"]:
            assert one["bytes"] == sum(len(bytes.fromhex(message)) for message in one["messages"])
            if one["name"] == "Choir":
                assert one["seconds"] is None
            else:
                assert one["seconds"] == pytest.approx(one["bytes"] * 10 / 31250, abs=1e-12)
    assert (found["faults"], found["cautions"]) == ([], [])


def test_check_says_what_a_song_sends_and_what_its_tuning_waits_for(run, night):
    """Bank and program: 8 bytes; octave tuning, MTS 08 09: 33 bytes."""
    piano, organ, choir = run(f"tonegen set check {night()} --json").json["songs"][1]["receivers"]
    assert piano["waits_for"] == "held notes"
    assert organ["bytes"] == 8 + 33
    assert organ["messages"][:3] == ["b0 00 00", "b0 20 02", "c0 10"]
    assert organ["waits_for"] == "silence"
    assert 0 < abs(organ["worst_left_cents"]) <= 0.5 * 200 / 16384  # half a step of MTS 08 09
    assert organ["worst_left_beats"] > 0
    assert (choir["bytes"], choir["waits_for"]) == (0, "nothing")


def test_ports_are_made_ready_side_by_side_and_one_port_in_turn(run, night):
    first = run(f"tonegen set check {night()} --json").json
    seconds = [one["seconds"] or 0 for one in first["songs"][0]["receivers"]]
    assert first["start_seconds"] == pytest.approx(max(seconds))
    one_channel = 'title = "Invented"\nmeans = "octave tuning"\nchannels = [{}]\n'
    folder = night().parent
    for at in (1, 2):
        (folder / f"on-{at}.toml").write_text(one_channel.format(at))
    shared = NIGHT.replace("mts-single-note", "./on-1.toml").replace("mts-octave", "./on-2.toml")
    second = run(f"tonegen set check {night(shared.replace('Stage', 'Organ'))} --json").json
    seconds = [one["seconds"] or 0 for one in second["songs"][0]["receivers"]]
    assert second["start_seconds"] == pytest.approx(sum(seconds)) == pytest.approx(2 * 33 * 10 / 31250)


def test_a_change_of_over_two_seconds_is_a_caution_with_its_cure(run, night):
    slow = 'title = "Invented"\nmeans = "key tuning"\nmessage = "single note"\nsysex_seconds = 0.1\n'
    (night().parent / "slow.toml").write_text(slow)
    text = NIGHT.replace("mts-single-note", "./slow.toml")
    (caution,) = run(f"tonegen set check {night(text)} --json").json["cautions"]
    assert caution.startswith(
        "Polka: the change takes 2.4 s at Piano; "
    )  # 22 messages of 0.1 s, 0.2 s on the cable
    assert "mts-octave" in caution
    long = " ".join(["F0", *["00"] * 7000, "F7"])
    text = NIGHT.replace("program = 17\nbank = [0, 2]\nchannel = 1", f'bytes = "{long}"')
    (caution,) = run(f"tonegen set check {night(text)} --json").json["cautions"]
    assert caution == "Polka: the change takes 2.3 s at Organ; send it fewer bytes in this song."


def test_numbers_that_no_program_change_reaches_and_show_control_are_cautions(run, night):
    text = NIGHT.replace('name = "Polka"', 'name = "Polka"\nnumber = 129')
    controls = (
        '[[controls]]\non = "program"\ndoes = "number"\n[[controls]]\non = "show control"\ndevice = 1\n'
    )
    assert run(f"tonegen set check {night(text)} --json").json["cautions"] == []
    unreached, show = run(f"tonegen set check {night(text + controls)} --json").json["cautions"]
    assert unreached.startswith("Polka: no program change or song select reaches number 129")
    assert show == SHOW_CONTROL_CAUTION


def test_check_says_what_lights_are_sent(run, night):
    """GO of Show Control (RP-002, from memory): F0 7F device 02, 01 lighting, 01 GO, number in ASCII, F7."""
    path = night(f'lights = {{ port = "Desk", device = 5 }}\n{NIGHT}')
    found = run(f"tonegen set check {path} --json").json
    assert [song["lights"] for song in found["songs"]] == [
        "f0 7f 05 02 01 01 31 f7",
        "f0 7f 05 02 01 01 32 f7",
    ]
    assert found["cautions"] == [SHOW_CONTROL_CAUTION]
    assert "\n  lights: f0 7f 05 02 01 01 32 f7\n" in run(f"tonegen set check {path} --bytes").out
    assert run(f"tonegen set check {night()} --json").json["songs"][0]["lights"] is None


def test_a_set_that_nothing_would_go_on_with_is_refused(run, night):
    assert "nothing would go on to the next song" in run.refused(f"tonegen set play {night()}")


def test_what_cannot_be_played_is_refused_before_any_port_is_opened(run, night):
    """The receivers' ports are not there, which would be told next."""
    path = night(
        NIGHT.replace("[[songs]]", '[[controls]]\nfrom = "Board"\non = "song select"\n\n[[songs]]', 1)
    )
    assert '"127.0.0.1:99999" is not an address' in run.refused(
        f"tonegen set play {path} --osc-in 127.0.0.1:99999"
    )
    assert run.refused(f"tonegen set play {path} --from 7") == "there is no song 7; songs go from 1 to 2"
    head, songs = NIGHT.partition("[[receivers]]")[0], NIGHT[NIGHT.index('[[songs]]\nname = "Waltz"') :]
    bare = night(head + songs.partition("follows")[0])
    assert run.refused(f"tonegen set play {bare} --osc-in :9001").endswith(
        "add [[receivers]] to its file, as the set demo-dance-night has them"
    )


def test_check_prints_everything_that_is_wrong_and_exits_2(run, night):
    path = night(NIGHT.replace('"G"', '"H"').replace("mts-octave", "oct"))
    ended = run(f"tonegen set check {path}")
    assert (ended.code, ended.out) == (2, "")
    assert [line.partition("line ")[2].partition(":")[0] for line in ended.err.splitlines()] == [
        "12, row 2 of receivers, receiver", "22, row 1 of songs, key",
    ]  # fmt: skip
    in_json = run(f"tonegen set check {path} --json")
    assert in_json.code == 2
    found = json.loads(in_json.out)
    assert (found["songs"], found["start_seconds"], len(found["faults"])) == ([], 0, 2)
    only = run.refused(f"tonegen set show {path}")
    assert only.endswith("(and 1 more: tonegen set check)")


def test_check_shows_each_message_in_hex(run, night):
    printed = run(f"tonegen set check {night()} --bytes").out
    assert "  Organ: 4 messages, 41 bytes, 0.013 s on a cable\n    b0 00 00\n" in printed
    assert printed.endswith("Nothing is wrong.\n")


def test_show_has_key_fret_tuning_and_what_is_left(run, night):
    shown = run(f"tonegen set show {night()} --json").json
    waltz, polka = shown["songs"]
    assert (waltz["key"], waltz["fret"], waltz["line"]) == ("G", 3, "Slow")
    assert waltz["receivers"]["Piano"] == "vallotti on G"
    assert polka["receivers"] == {
        "Piano": "vallotti on D",
        "Organ": "vallotti on C",
        "Choir": "equal on e9-ten-string, fret 10",
    }
    printed = run(f"tonegen set show {night()}").out
    assert "steel" in printed
    assert "Slow" in printed


def test_a_set_that_is_not_there_is_named_with_what_is_near(run):
    assert "demo-duo" in run.refused("tonegen set check demo-du")


def test_the_page_s_set_list_is_a_set(run, own_folder):
    assert "the page has no songs yet" in run.refused("tonegen set show page")
    songs = (Song("Invented Waltz", 7), Song("Invented Polka", 2))
    own_folder.mkdir(parents=True, exist_ok=True)
    kept_file().write_bytes(encode(Kept(Setting(songs=songs))))
    shown = run("tonegen set show page --json").json["songs"]
    assert [(song["number"], song["name"], song["key"], song["fret"]) for song in shown] == [
        (1, "Invented Waltz", "G", 3), (2, "Invented Polka", "D", 10),
    ]  # fmt: skip
    (caution,) = run("tonegen set check page --json").json["cautions"]
    assert "no receivers yet" in caution
    copied = "tonegen copy set page my-evening"
    assert caution.endswith(f"make a file of it to add them: {copied}.")
    assert run.refused("tonegen set play page --osc-in :9001").endswith(f"to add them: {copied}")
    kept_file().write_text("{")
    assert "is damaged" in run.refused("tonegen set show page")


def test_the_page_s_songs_are_copied_into_a_set_to_add_receivers(run, own_folder):
    assert "the page has no songs yet" in run.refused("tonegen copy set page friday")
    own_folder.mkdir(parents=True, exist_ok=True)
    songs = (Song("Invented Waltz", 10), Song('The "Low" Road', 2))
    setting = Setting("c6-lap-steel", "five-limit-just", 9, reference_hz=442.0, songs=songs)
    kept_file().write_bytes(encode(Kept(setting)))
    run("tonegen copy set page friday")
    place = own_folder / "sets" / "friday.toml"
    text = place.read_text()
    assert "# Write your receivers and controls here" in text
    copied, page = set_list("friday"), kept_set()
    assert replace(copied, name="page", file="") == page
    place.write_text(text + '[[receivers]]\nname = "Piano"\nreceiver = "mpe"\nport = "Piano"\n')
    assert run("tonegen set check friday").code == 0
    assert "already exists" in run.refused("tonegen copy set page friday")
    assert "comes with the program" in run.refused("tonegen copy set demo-duo page")


def test_sets_are_listed_and_copied(run, own_folder):
    listed = run("tonegen list sets --json").json["sets"]
    assert [one["name"] for one in listed] == ["demo-dance-night", "demo-duo"]
    run("tonegen copy set demo-duo friday")
    assert set_list("friday").songs == set_list("demo-duo").songs
