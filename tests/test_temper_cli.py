"""temper, compare, drop and order as they are typed, and what scripts get from them."""

import os
import pty
import re
import subprocess
import sys
import threading
from contextlib import suppress
from pathlib import Path
from types import SimpleNamespace

import pytest

from tonegen import presets
from tonegen.instrument import TuningPoint
from tonegen.interval import partial_hz
from tonegen.order.plan import tuning_order
from tonegen.order.walk import Listening
from tonegen.presets.files import SHIPPED
from tonegen.presets.scenes import scene
from tonegen.synthesis.player import Player
from tonegen.temperament import EQUAL
from tonegen.tempering.temper import Objective, temper
from tonegen.words import rate, signed

SCENE = "e9-dance-band"


def point(result, string, *changes):
    (found,) = [
        each
        for each in result["points"]
        if (each["string"], each["changes"], each["travel"]) == (string, list(changes), 1.0)
    ]
    return found


@pytest.mark.parametrize("objective", Objective)
def test_temper_with_every_objective(tonegen, objective):
    result = tonegen(f"tonegen temper {SCENE} --objective {objective.value} --pin 4=0 --pin 8=0 --json").json

    assert result["objective"] == objective.value
    assert (point(result, 4)["offset_cents"], point(result, 4)["pinned"]) == (0.0, True)
    assert point(result, 8)["hz"] == pytest.approx(164.8138, abs=1e-4)
    proof = "duality_gap" if objective.of_worst else "kkt_residual"
    assert list(result["certificate"]) == [proof]
    assert abs(result["certificate"][proof]) < 1e-8
    grip = result["grips"][0]
    assert {"name", "changes", "strings", "intervals"} <= set(grip)
    for interval in grip["intervals"]:
        assert {"low", "high", "ratio", "before", "after"} <= set(interval)
        assert set(interval["after"]) == {"cents_from_just", "beats_per_second"}
    assert {"binding", "contradictions"} <= set(result)
    assert all(each["price_unit"].endswith(" per cent") for each in result["binding"])


def test_what_if_the_e_strings_are_held(tonegen):
    """A pin as typed wins over the scene's own, and a change's stop can be held as well."""
    free = tonegen(f"tonegen temper {SCENE} --json").json
    held = tonegen(f"tonegen temper {SCENE} --pin 8=8 --pin 8:F=-20 --json").json

    assert (point(free, 8)["offset_cents"], point(held, 8)["offset_cents"]) == (3.0, 8.0)
    assert (point(free, 8, "F")["pinned"], point(held, 8, "F")["pinned"]) == (False, True)
    assert point(held, 8, "F")["offset_cents"] == -20
    assert held["value"] > free["value"]


def test_temper_as_a_person_sees_it(tonegen):
    shown = tonegen(f"tonegen temper {SCENE} --front")

    assert shown.code == 0
    for words in (
        "Limited by string 8 open, pinned:", "Conflict: string 7 open is the root in",
        "Not in the grips you picked: left as they were (string 1 with G",
            "Best possible, verified: residual",
        "with the band, beats per second", "Next, keep it with --save NAME",
    ):  # fmt: skip
        assert words in " ".join(shown.out.split())
    every = tonegen(f"tonegen temper {SCENE} --intervals").out.splitlines()
    assert any(line.split()[:3] == ["8–5", "3:2", "fifth"] for line in every)
    assert any(line.startswith("bass–10 fret 3") for line in every)
    assert "C# minor A 3-4-5-6-8-10 (A, fret 8)" in every  # where its beats are fastest


@pytest.mark.parametrize("objective", Objective)
def test_worst_means_fastest_unless_it_is_by_cents(tonegen, monkeypatch, objective):
    """Each row of the table against every interval of that grip; partials above 16 are too weak to beat."""
    monkeypatch.setenv("COLUMNS", "110")
    line = f"tonegen temper {SCENE} --objective {objective.value}"
    table = tonegen(line).out.splitlines()
    for grip in tonegen(f"{line} --json").json["grips"]:
        heard = [each for each in grip["intervals"] if not each["against"]]
        assert {each["fret"] for each in heard} == set(grip["frets"])
        if objective.in_beats:
            heard = [each for each in heard if max(map(int, each["ratio"].split(":"))) <= 16]
        figure = "beats_per_second" if objective.in_beats else "cents_from_just"
        most = max(abs(each["after"][figure]) for each in heard)
        worst = {
            (f"{each['low_string']}–{each['high_string']} {each['ratio']}", f"{each['fret']:g}"): each[
                "after"
            ]
            for each in heard
            if abs(each["after"][figure]) > most - 2e-6
        }
        (row,) = [row for row in table if row.startswith(f"{grip['name']}, fret")]
        *_, strings, ratio, cents, beats = row.split()
        frets = re.match(r", frets? ([\d, ]+?)  ", row.removeprefix(grip["name"])).group(1)
        shown = worst[f"{strings} {ratio}", frets.split(", ")[-1]]
        assert cents == signed(shown["cents_from_just"], 1)
        assert beats == rate(shown["beats_per_second"])
    if objective.of_worst:  # the optimum that is printed stands in that table
        found = re.fullmatch(
            r"Minimised: .*, worst (\S+)(?: cents)?(?:, which counts .* times)?: (\S+ \S+) in (.*)", table[2]
        )
        figure, pair, place = found.groups()
        name, fret = place.rsplit(", fret ", 1)
        (row,) = [row for row in table if re.match(rf"{re.escape(name)}, frets? ([\d, ]+, )?{fret} ", row)]
        assert figure in row.rpartition(pair)[2].split()


def test_a_weak_pair_that_decides_the_worst_beat_stands_in_the_table(tonegen, monkeypatch):
    """By ratios, partials 36 and 25 of strings 7 and 5 hold it back, counted as partial 16 would be."""
    monkeypatch.setenv("COLUMNS", "110")
    line = "tonegen temper c6-swing-band --objective worst-beats --timbre harmonic"
    table = tonegen(line).out.splitlines()
    assert table[2] == "Minimised: worst-beats, worst 15/s: 7–5 36:25 in A 7 P8 10-9-8-7-6-5, fret 5"
    (row,) = [row.split() for row in table if row.startswith("  weak, but decides, fret 5 ")]
    assert row[-4:] == ["7–5", "36:25", "−4.0", "15/s"]
    by_cents = tonegen(line.replace("worst-beats", "worst-cents")).out
    assert "weak, but decides" not in by_cents


def test_front_as_numbers(tonegen):
    front = tonegen("tonegen temper c6-swing-band --front --json").json["front"]

    assert len(front) == 25
    assert front[0]["self_error"] < front[-1]["self_error"]
    assert front[0]["band_error"] > front[-1]["band_error"]


def test_what_is_saved_every_other_command_takes(tonegen):
    saved = tonegen(f"tonegen temper {SCENE} --save my-e9 --json").json
    chart = tonegen("tonegen chart --instrument e9-ten-string --temperament my-e9 --json").json

    assert saved["saved"].endswith("my-e9.toml")
    assert point(chart, 6)["offset_cents"] == pytest.approx(point(saved, 6)["offset_cents"], abs=1e-4)
    beats = tonegen(
        "tonegen beats --instrument e9-ten-string --temperament my-e9 --drop demo-soft-cabinet "
        "--changes A,B --grip 6,8,10 --fret 8 --timbre string --json"
    ).json
    grip = next(each for each in saved["grips"] if each["name"] == "A major A+B 3-4-5-6-8-10")
    tempered = {
        (each.get("low_string"), each.get("high_string")): each["after"]["beats_per_second"]
        for each in grip["intervals"]
        if each["fret"] == 8
    }
    for interval in beats["intervals"]:
        pair = (interval["low_string"], interval["high_string"])
        assert interval["beats_per_second"] == pytest.approx(tempered[pair], abs=1e-3)
    assert any(
        line["name"] == "my-e9" for line in tonegen("tonegen list temperaments --json").json["temperaments"]
    )


def test_saving_leaves_what_no_grip_asks_about_as_it_is(tonegen, own_folder):
    """String 1 with G is in no grip of the scene: in a file that is there it stays, to the letter."""
    tonegen(f"tonegen temper {SCENE} --save my-e9")
    path = own_folder / "temperaments" / "my-e9.toml"
    mine = '[[points]]\nstring = 1\nchanges = ["G"]\noffset_cents = '
    assert mine + "0.0\nasked = false" in path.read_text()
    path.write_text(path.read_text().replace(mine + "0.0", mine + "-37.123456  # by ear"))
    for more in ("--pin 4=3", "", "--fill", "--objective worst-cents"):
        shown = tonegen(f"tonegen temper {SCENE} {more} --save my-e9")
        assert shown.code == 0
        (row,) = [line.split() for line in shown.out.splitlines() if line.split()[:2] == ["1", "G"]]
        assert row == ["1", "G", "G4", "−37.1", "−37.1", "383.68", "not", "asked"]  # 391.995 Hz, lower
        assert mine + "-37.123456  # by ear\nasked = false" in path.read_text()
    chart = tonegen("tonegen chart --instrument e9-ten-string --temperament my-e9")
    assert "(−37.1)" in chart.out
    assert "In brackets: not asked by any grip" in chart.out
    tonegen(f"tonegen temper {SCENE} --pin 1:G=-5 --save my-e9")
    assert mine + "-5.0  # by ear\n\n" in path.read_text()  # a pin asks for it


def test_changes_that_he_wrote_in_another_order_are_the_same_stop(tonegen, own_folder):
    path = own_folder / "temperaments" / "my-e9.toml"
    path.parent.mkdir(parents=True)
    mine = '[[points]]\nstring = 5\nchanges = ["V", "A"]\noffset_cents = 17.5\n'
    path.write_text(f'title = "Mine"\ninstrument = "e9-ten-string"\n\n{mine}')
    tonegen(f"tonegen temper {SCENE} --save my-e9")
    chart = tonegen("tonegen chart --instrument e9-ten-string --temperament my-e9 --json").json

    assert mine in path.read_text()
    assert (point(chart, 5, "A", "V")["offset_cents"], point(chart, 5, "A", "V")["asked"]) == (17.5, False)
    path.write_text(path.read_text() + mine.replace('"V", "A"', '"A", "V"'))
    assert "listed twice" in tonegen.refused("tonegen chart --instrument e9-ten-string --temperament my-e9")


def test_fill_by_the_same_note_on_other_strings(tonegen, own_folder):
    """String 2 with DD is C#4, which strings 5 and 10 play with A; G4 of string 1 nobody else plays."""
    plain = tonegen(f"tonegen temper {SCENE} --save my-e9 --json").json
    assert (point(plain, 2, "DD")["offset_cents"], point(plain, 2, "DD")["asked"]) == (0.0, False)
    path = own_folder / "temperaments" / "my-e9.toml"
    for _ in range(2):  # what was filled is filled again
        filled = tonegen(f"tonegen temper {SCENE} --fill --save my-e9 --json").json
        found = point(filled, 2, "DD")
        assert (found["filled"], found["asked"]) == (True, True)
        same = [point(filled, 5, "A")["offset_cents"], point(filled, 5, "C")["offset_cents"]]  # both C#4
        assert found["offset_cents"] == pytest.approx(sum(same) / 2)
        assert point(filled, 1, "G")["filled"] is False
        saved = presets.temperament("my-e9")
        assert saved.offsets_cents[TuningPoint(2, ("DD",))] == pytest.approx(sum(same) / 2, abs=1e-4)
        assert TuningPoint(2, ("DD",)) not in saved.not_asked
        left = [at for each in filled["undetermined"] for at in each["points"]]
        assert {"string": 2, "changes": ["DD"], "travel": 1.0} not in left
        assert {"string": 1, "changes": ["G"], "travel": 1.0} in left
    again = tonegen(f"tonegen temper {SCENE} --fill --pin 5:A=-20 --save my-e9 --json").json
    assert point(again, 2, "DD")["offset_cents"] == pytest.approx(
        (-20 + point(again, 5, "C")["offset_cents"]) / 2
    )
    text = path.read_text()
    before, stop, after = text.partition('string = 2\nchanges = ["DD"]\noffset_cents = ')
    _, newline, after = after.partition("\n")
    path.write_text(f"{before}{stop}-3.25{newline}{after}")
    by_hand = tonegen(f"tonegen temper {SCENE} --fill --save my-e9 --json").json
    assert point(by_hand, 2, "DD")["offset_cents"] == -3.25


@pytest.fixture
def hot_day(tonegen, tmp_path):
    """A scene at 442 Hz with a drop of its own, saved as my-e9."""
    text = (
        (SHIPPED / "scenes" / f"{SCENE}.toml").read_text().replace("reference_hz = 440", "reference_hz = 442")
    )
    scene_file = tmp_path / "hot-day.toml"
    scene_file.write_text(text)
    assert tonegen(f"tonegen temper {scene_file} --save my-e9").code == 0
    return scene_file


def test_what_is_saved_remembers_what_it_was_made_for(tonegen, hot_day, own_folder):
    context = presets.temperament("my-e9").context
    assert (context.drop, context.reference_hz, context.scene) == ("demo-soft-cabinet", 442.0, str(hot_day))
    text = (own_folder / "temperaments" / "my-e9.toml").read_text()
    assert text.index('drop = "demo-soft-cabinet"') < text.index("[[points]]")


COMMANDS = [
    "chart --instrument e9-ten-string",
    "beats --instrument e9-ten-string --changes A,F --grip 5,6",
]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_uses_it_and_says_so(tonegen, hot_day, command):
    by_itself = tonegen(f"tonegen {command} --temperament my-e9")
    told = tonegen(f"tonegen {command} --temperament my-e9 --drop demo-soft-cabinet --reference 442")
    otherwise = tonegen(f"tonegen {command} --temperament my-e9 --drop none --reference 440")
    said = f"As my-e9 was made for {hot_day}: drop demo-soft-cabinet and A4 = 442 Hz"

    assert said in by_itself.out.splitlines()
    assert by_itself.out.replace(f"{said}\n", "") == told.out
    assert "As my-e9" not in told.out + otherwise.out
    assert otherwise.out != told.out
    half = tonegen(f"tonegen {command} --temperament my-e9 --reference 440").out
    assert f"As my-e9 was made for {hot_day}: drop demo-soft-cabinet" in half.splitlines()


def test_keys_and_ears_use_it_too(tonegen, hot_day):
    keys = "tonegen keys plan --receiver mts-octave --temperament my-e9"
    ended = tonegen(keys)
    assert "As my-e9 was made" in ended.err
    assert ended.out == tonegen(f"{keys} --drop demo-soft-cabinet --reference 442").out
    assert "A4 = 442 Hz" in ended.out


def test_a_drop_that_is_gone_is_named_with_the_way_out(tonegen, own_folder):
    tonegen(f"tonegen temper {SCENE} --save my-e9")
    path = own_folder / "temperaments" / "my-e9.toml"
    path.write_text(path.read_text().replace("demo-soft-cabinet", "my-old-cabinet"))
    line = "tonegen chart --instrument e9-ten-string --temperament my-e9"

    said = tonegen.refused(line)
    assert 'my-e9 was made with drop my-old-cabinet: there is no drop called "my-old-cabinet"' in said
    assert said.endswith("or give --drop")
    assert tonegen(f"{line} --drop none").code == 0


def test_compare_equal_with_his_own(tonegen):
    saved = tonegen(f"tonegen temper {SCENE} --save my-e9 --json").json
    result = tonegen(f"tonegen compare equal my-e9 --scene {SCENE} --json").json

    assert (result["first"], result["second"]) == ("equal", "my-e9")
    assert point(result, 6)["first_offset_cents"] == 0
    for ours, theirs in zip(saved["grips"], result["grips"], strict=True):
        for before_after, side_by_side in zip(ours["intervals"], theirs["intervals"], strict=True):
            assert side_by_side["first"] == before_after["before"]
            assert side_by_side["second"] == pytest.approx(before_after["after"], abs=1e-2)
    shown = tonegen(f"tonegen compare equal my-e9 --scene {SCENE}").out
    assert "A4 = 440 Hz, drop demo-soft-cabinet; offsets in cents from equal" in shown
    assert "worst pair  cents  beats" in shown
    assert any(line.split()[:4] == ["A", "major", "A+B", "5–3"] for line in shown.splitlines())


READINGS = """string,changes,cents
8,,3.0
8,A,0.7
8,B,1.0
8,,3.0
8,A,0.7
8,A,6.0
8,B,1.0
4,,3.9
4,A+F,
"""


@pytest.fixture
def readings(tmp_path):
    path = tmp_path / "readings.csv"
    path.write_text(READINGS)
    return path


def test_drop_from_readings(tonegen, readings):
    result = tonegen(f"tonegen drop {readings} --instrument e9-ten-string --json").json

    found = {(each["string"], each["change"]): each for each in result["drops"]}
    assert set(found) == {(8, "A"), (8, "B")}
    assert found[8, "A"]["cents"] == pytest.approx(-2.3)
    assert found[8, "A"]["standard_error_cents"] == pytest.approx(0.1)
    (slip,) = result["outliers"]
    assert (slip["place"], slip["cents"], slip["expected_cents"]) == ("line 7", 6.0, pytest.approx(0.7))
    assert {"string", "changes", "gain_cents"} == set(result["next_readings"][0])


def test_drop_saved_and_used(tonegen, readings):
    shown = tonegen(f"tonegen drop {readings} --instrument e9-ten-string --save my-cabinet").out

    assert "Does not fit: line 7, string 8 with A read +6.00; the others say +0.70" in shown
    assert "Read next: string" in shown
    assert presets.drop("my-cabinet").cents["A"] == {8: pytest.approx(-2.3)}
    chart = tonegen("tonegen chart --instrument e9-ten-string --drop my-cabinet --json").json
    assert {"string": 8, "change": "A", "cents": pytest.approx(-2.3)} in chart["drops"]


def test_order_for_scripts(tonegen):
    tonegen(f"tonegen temper {SCENE} --save my-e9")
    result = tonegen(f"tonegen order {SCENE} --temperament my-e9 --json").json

    keys = {
        "tune", "against", "changes", "fret", "ratio", "multiple", "beats_per_second", "coincident_hz",
        "accuracy_cents",
    }  # fmt: skip
    assert all(keys <= set(step) for step in result["steps"])
    assert result["steps"][0]["against"]["tone"] == "tone E4"
    assert len(result["steps"]) == 28
    assert all(
        {"low", "high", "ratio", "within_beats_per_second"} <= set(check) for check in result["checks"]
    )
    for step in result["steps"]:
        upper, lower = (step["multiple"] * int(number) for number in step["ratio"].split(":"))
        high = partial_hz(step["high_hz"], lower, step["high_stiffness"])
        rate = high - partial_hz(step["low_hz"], upper, step["low_stiffness"])
        assert step["beats_per_second"] == pytest.approx(rate, abs=1e-9)


def test_order_as_it_is_printed(tonegen):
    shown = tonegen(f"tonegen order {SCENE}").out

    first = next(line for line in shown.splitlines() if line.startswith(" 1  "))
    assert " ".join(first.split()) == "1 3 G#4 tone E4 open 5:4 21 in 10 s narrow lower 1655 0.2"
    assert "Tune each one pure first, then raise or lower it" in shown
    assert "a pure one stands still" in shown
    assert "When all are tuned" in shown
    assert "tone E4 (331.14 Hz); tone D4 (293.66 Hz)" in shown
    second = next(line for line in shown.splitlines() if line.startswith(" 2  "))
    assert " ".join(second.split()) == "2 4 E4 tone E4 open 3:3 1.3 in 10 s wide raise 993 0.2"


def test_a_check_that_should_not_beat_is_called_pure(tonegen):
    shown = tonegen("tonegen order c6-swing-band --temperament five-limit-just --timbre harmonic").out

    checks = shown.split("When all are tuned")[1]
    assert "pure" in checks
    assert " 0 in 10 s" not in checks


@pytest.mark.parametrize(
    ("columns", "line"),
    [
        (80, f"temper {SCENE}"), (80, "temper c6-swing-band --front"), (80, f"order {SCENE}"),
        (80, f"compare equal vallotti --scene {SCENE}"), (100, f"temper {SCENE}"),
    ],
)  # fmt: skip
def test_what_a_terminal_shows_without_breaking_a_line(tonegen, monkeypatch, columns, line):
    monkeypatch.setenv("COLUMNS", str(columns))
    shown = tonegen(f"tonegen {line}").out

    assert max(map(len, shown.splitlines())) <= columns


def listening():
    e9 = presets.instrument("e9-ten-string")
    return Listening(tuning_order(e9, EQUAL, presets.drop("none"), 440.0), 440.0)


def test_keys_lead_through_the_steps():
    place = listening()
    last = len(place.plan.steps) - 1

    assert place.pressed("n").at == 1
    assert place.pressed("enter").pressed("n").pressed("b").at == 1
    assert place.pressed("right").at == 1
    assert place.pressed("b").at == 0
    assert place.pressed("x") == place
    assert place.pressed("r").again
    assert not place.pressed("r").pressed("n").again
    assert place.pressed("q").ended
    for _ in range(last):
        place = place.pressed("n")
    assert (place.at, place.ended) == (last, False)
    assert place.pressed("n").ended


@pytest.fixture
def steps_heard(monkeypatch, tonegen):
    """The steps that `tonegen order --sound` says while keys are typed, each while a step is being sounded.

    No device: what plays waits to be stopped.
    """

    def heard(*keys):
        device = SimpleNamespace(sample_rate=48_000, channels=2)
        monkeypatch.setattr("tonegen.sound.device.output_devices", tuple)
        monkeypatch.setattr("tonegen.sound.device.choose", lambda name, devices: device)
        monkeypatch.setattr("tonegen.sound.device.play", lambda player, chosen, stop: stop.wait())
        ours, theirs = pty.openpty()
        waiting = [*keys, "q"]

        def set_tones(player, tones):
            if waiting:
                os.write(ours, waiting.pop(0).encode())

        monkeypatch.setattr(Player, "set", set_tones)
        with os.fdopen(theirs, "w") as shown, os.fdopen(os.dup(theirs)) as typed:
            patience = threading.Timer(10, os.write, (ours, b"q"))  # to a program that lost one
            patience.start()
            with monkeypatch.context() as terminal:
                terminal.setattr(sys, "stdin", typed)
                terminal.setattr(sys, "stdout", shown)
                ended = tonegen(f"tonegen order {SCENE} --sound")
            patience.cancel()
        said = b""
        with suppress(OSError):  # all was read
            while True:
                said += os.read(ours, 4096)
        os.close(ours)
        assert ended.code == 0, ended
        return [int(number) for number in re.findall(r"(\d+) of \d+: tune", said.decode())]

    return heard


def test_a_key_that_is_pressed_while_a_step_begins_to_sound_is_not_lost(steps_heard):
    assert steps_heard("n", "n", "b") == [1, 2, 3, 2]


def test_what_is_heard_is_the_target_or_only_its_beating_partials():
    place, timbre = listening(), presets.timbre("harmonic")
    step = place.step
    whole, pair = place.tones(timbre), place.pressed("p").tones(timbre)

    assert sorted(tone.hz for tone in whole) == [step.low_hz, step.high_hz]
    heard = sorted(
        tone.hz * number
        for tone in pair
        for number, level in zip(tone.partial_multiples(), tone.heard_levels(), strict=True)
        if level > 0
    )
    assert len(heard) == 2
    assert heard[1] - heard[0] == pytest.approx(abs(step.beats_per_second), abs=1e-9)
    assert sum(heard) / 2 == pytest.approx(step.coincident_hz)


def test_a_key_sounds_the_tone_that_is_tuned_to_alone():
    place, timbre = listening(), presets.timbre("string")
    assert place.step.against.hz == pytest.approx(329.6276, abs=1e-4)
    alone = place.pressed("t")

    (tone,) = alone.tones(timbre)
    assert tone.hz == place.step.against.hz
    assert tone.stiffness == 0  # the program's, not a string's
    for _ in range(6):  # whichever of the two is the higher
        alone = alone.pressed("n")
        (tone,) = alone.tones(timbre)
        assert tone.hz == (alone.step.low_hz if alone.step.tune_is_high else alone.step.high_hz)
    assert {step.tune_is_high for step in place.plan.steps[:7]} == {True, False}
    assert len(alone.pressed("t").tones(timbre)) == 2
    both_ways = place.pressed("t").pressed("p")
    assert both_ways == place.pressed("p")


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("temper nosuch", 'there is no scene called "nosuch"; see: tonegen list scenes'),
        (f"temper {SCENE} --pin 4", '--pin: "4" is not a pin'),
        (f"temper {SCENE} --pin 4=0 --pin 4=3", "pins contradict: string 4 open is held at +0 and at +3"),
        (f"temper {SCENE} --pin 8:E+F=0", "--pin: changes F and E exclude each other"),
        (f"temper {SCENE} --pin 14=0", "--pin: e9-ten-string has no string 14"),
        (f"temper {SCENE} --pin 4:Q=0", '--pin: e9-ten-string has no change "Q"'),
        (
            f"temper {SCENE} --pin 4=20",
            "give one of them up: string 4 open at most +8 cents; string 4 open pinned",
        ),
        (f"temper {SCENE} --objective loud", "loud"),
        (f"temper {SCENE} --save ../x", '"../x" cannot be used as a name'),
        (f"temper {SCENE} --save ''", '"" cannot be used as a name'),
        (f"temper {SCENE} --save 'a\nb'", '"a b" cannot be used as a name'),
        (f"temper {SCENE} --save my-e9 --pin 4=nan", '"4=nan" is not a pin'),
        (f"order {SCENE} --sound --json", "--sound is for a person"),
        (f"order {SCENE} --sound --level 3", "level 3 dBFS is out of range"),
        (f"temper {SCENE} --save equal", "comes with the program; save under another name"),
        (f"compare equal nosuch --scene {SCENE}", 'no temperament called "nosuch"'),
        ("compare equal equal", "scene"),
        ("drop nosuch.csv --instrument e9-ten-string", "nosuch.csv: cannot be read"),
        (f"order {SCENE} --temperament nosuch", 'no temperament called "nosuch"'),
    ],
)
def test_one_line_says_what_is_wrong(tonegen, line, says):
    assert says in tonegen.refused(f"tonegen {line}")


def test_files_that_cannot_be_meant(tonegen, tmp_path):
    """One line with the file, the place and what is wrong; exit 2."""
    file = tmp_path / "mine.toml"
    head = 'title = "t"\ninstrument = "e9-ten-string"\n[[grips]]\nname = "x"\nroot = "E"\n'
    file.write_text(head + 'roles = { 3 = "b3", 4 = "1" }\n')
    said = tonegen.refused(f"tonegen temper {file}")
    assert said.startswith(
        f"{file}: grips[0]: roles: string 3 plays G#4 in this state, which is not degree b3"
    )
    file.write_text(head + 'roles = { 13 = "3", 4 = "1" }\n')
    assert '"13" is not a string; strings are numbered 1 to 10' in tonegen.refused(f"tonegen temper {file}")
    file.write_text(head + 'changes = ["Q"]\nroles = { 3 = "3", 4 = "1" }\n')
    assert 'has no change "Q"' in tonegen.refused(f"tonegen temper {file}")
    table = tmp_path / "readings.csv"
    table.write_text("string,changes,volts\n8,A,3\n")
    said = tonegen.refused(f"tonegen drop {table} --instrument e9-ten-string")
    assert said.startswith(f'{table}: line 1: there is no column "volts"')
    table.write_text("string,changes,cents\n8,A,164.8\n")
    said = tonegen.refused(f"tonegen drop {table} --instrument e9-ten-string")
    assert "line 2: cents: 164.8 would be +165 cents from E3 (164.81 Hz); check the unit" in said


def test_a_scene_as_an_editor_of_another_system_saves_it(tonegen, tmp_path):
    """With a byte order mark and the line ends of another system."""
    text = (SHIPPED / "scenes" / f"{SCENE}.toml").read_text()
    file = tmp_path / "mine.toml"
    file.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())

    ours, theirs = (tonegen(f"tonegen temper {name} --json").json for name in (SCENE, file))
    assert theirs["points"] == ours["points"]


def test_no_drop_can_be_told_from_open_strings(tonegen, tmp_path):
    table = tmp_path / "readings.csv"
    table.write_text("string,changes,cents\n8,,3\n")
    shown = tonegen(f"tonegen drop {table} --instrument e9-ten-string").out

    assert "No drop can be worked out yet" in shown
    assert "Read next: string 1 open (not read yet)" in shown


def test_a_temperament_of_another_instrument(tonegen):
    tonegen("tonegen temper c6-swing-band --save my-c6")
    assert "belongs to c6-ten-string, and was left alone" in tonegen.refused(
        f"tonegen temper {SCENE} --save my-c6"
    )
    for line in (f"compare equal my-c6 --scene {SCENE}", f"order {SCENE} --temperament my-c6"):
        assert "belongs to c6-ten-string" in tonegen.refused(f"tonegen {line}")


def test_solved_scene_agrees_with_what_is_printed(tonegen):
    solved = temper(scene(SCENE))
    result = tonegen(f"tonegen temper {SCENE} --json").json

    assert point(result, 5, "A")["offset_cents"] == solved.offsets_cents[TuningPoint(5, ("A",))]


@pytest.mark.parametrize("how", ["", "--json"])
def test_a_result_that_cannot_be_printed_is_one_line(how):
    code = "from tonegen.cli import main; main()"
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-c", code, "temper", SCENE, *how.split()],
            stdout=full, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip

    assert (done.returncode, done.stderr) == (
        2, "tonegen: the result cannot be printed: No space left on device\n"
    )  # fmt: skip


def test_a_number_copied_from_what_is_shown_is_taken(tonegen):
    """Shown with a true minus, as on paper and on the page; typed with either."""
    shown = tonegen("tonegen temper e9-dance-band --pin 4:F=-20 --json").json

    assert tonegen("tonegen temper e9-dance-band --pin 4:F=−20 --json").json == shown
    assert (
        tonegen("tonegen beats --low A3 --high C#4−13.7 --json").json
        == tonegen("tonegen beats --low A3 --high C#4-13.7 --json").json
    )


def without_gauges(tmp_path, own_folder, *strings):
    """The demonstration's scene on an instrument of the player's own, who told no gauge of some strings."""
    made = own_folder / "instruments" / "bare.toml"
    made.parent.mkdir(parents=True)
    lines = (SHIPPED / "instruments" / "e9-ten-string.toml").read_text().splitlines(keepends=True)
    opens = [at for at, line in enumerate(lines) if line.startswith("    { open =")]
    for string in strings:
        at = opens[string - 1]
        lines[at] = re.sub(r", gauge_inches.*}", " }", lines[at])
    made.write_text("".join(lines))
    asked = tmp_path / "bare-band.toml"
    shipped = (SHIPPED / "scenes" / f"{SCENE}.toml").read_text()
    asked.write_text(shipped.replace('instrument = "e9-ten-string"', 'instrument = "bare"'))
    return asked


@pytest.mark.parametrize(
    "command",
    [
        "temper {}",
        "compare equal five-limit-just --scene {}",
        "order {}",
        "reads --instrument {instrument} --scene {} --want 6=-10 --want 9=3",
    ],
)
def test_strings_of_unknown_wire_are_named(tonegen, tmp_path, own_folder, command):
    asked = without_gauges(tmp_path, own_folder, 6, 9)
    line = f"tonegen {command.format(asked, instrument='bare')}"

    words = " ".join(tonegen(line).out.split())
    assert words.count("How stiff strings 6, 9 may be is not known:") == 1
    assert "Give gauge_inches and scale_length_inches" in words
    assert tonegen(f"{line} --json").json["no_stiffness"] == [6, 9]
    flexible = tonegen(f"{line} --timbre harmonic")
    assert "How stiff" not in flexible.out
    assert "as stiff as their gauges" not in flexible.out
    assert tonegen(f"{line} --timbre harmonic --json").json["no_stiffness"] == []
    assert (
        tonegen(f"tonegen {command.format(SCENE, instrument='e9-ten-string')} --json").json["no_stiffness"]
        == []
    )


@pytest.mark.parametrize("timbre", ["string", "harmonic"])
def test_tempering_promises_what_beats_says(tonegen, timbre):
    """Each pair by which one could tune, in two grips at each of their frets."""
    saved = tonegen(f"tonegen temper {SCENE} --timbre {timbre} --save my-e9 --json").json
    line = "tonegen beats --instrument e9-ten-string --temperament my-e9 --drop demo-soft-cabinet"
    met = 0
    for grip in saved["grips"][:2]:
        state = f"--changes {','.join(grip['changes'])}" if grip["changes"] else ""
        for fret in grip["frets"]:
            told = {
                (each["low_string"], each["high_string"]): each["after"]["beats_per_second"]
                for each in grip["intervals"]
                if not each["against"]
                and max(map(int, each["ratio"].split(":"))) <= 8
                and each["fret"] == (fret if timbre == "string" else max(grip["frets"]))
            }
            bar = fret if timbre == "string" else max(grip["frets"])
            strings = ",".join(map(str, grip["strings"]))
            heard = tonegen(f"{line} {state} --grip {strings} --fret {bar:g} --timbre {timbre} --json").json
            for each in heard["intervals"]:
                pair = (each["low_string"], each["high_string"])
                if pair in told:
                    assert each["beats_per_second"] == pytest.approx(told[pair], abs=2e-3), pair
                    met += 1
    assert met > 50
