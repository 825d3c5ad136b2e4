"""The commands of tunings: found, shown, explained, checked, copied."""

import json
import os
import subprocess
import sys

import pytest

from tonegen import presets
from tonegen.presets.scenes import scene


def test_tunings_are_found_by_strings_and_it_says_how_far_transposed(tonegen):
    found = tonegen('tonegen tunings list --strings "D A D F# A D" --json').json["tunings"]
    by_name = {each["name"]: each["transposed_semitones"] for each in found}
    assert by_name == {
        "guitar-open-d": 0, "steel-open-d": 0, "guitar-open-e": 2, "steel-open-e": 2, "steel-open-c": -2,
        "viola-d-amore-d-major": 0,
    }  # fmt: skip
    assert "2 semitones higher" in tonegen('tonegen tunings list --strings "D A D F# A D"').out


@pytest.mark.parametrize("asked", ["--family banjo", "banjo", "--root G open", "--strings 'D2 G2 D3'"])
def test_tunings_are_found_by_family_words_root_and_strings(tonegen, asked):
    assert "open-g" in tonegen(f"tonegen tunings list {asked}").out


def test_nothing_found_says_so(tonegen):
    ended = tonegen("tonegen tunings list zzz")
    assert (ended.code, "No tuning fits" in ended.out) == (0, True)


def test_show_prints_offsets_and_both_figures_of_frets(tonegen):
    out = tonegen("tonegen tunings show guitar-open-d").out
    assert "string 3, F#3  F#3  −13.7" in out
    out = " ".join(tonegen("tonegen tunings show guitar-standard").out.split())
    assert "rms: 9.62 cents with equal strings, 9.59 so; leave it equal" in out
    out = tonegen("tonegen tunings show violin --anchor A --json").json
    assert {note["name"]: note["offset_cents"] for note in out["notes"]}["A4"] == 0


def test_explain_says_who_asks_what_and_where_it_clashes(tonegen):
    out = tonegen("tonegen tunings explain guitar-drop-d --string 2").out
    assert "string 3, G3  major third 5:4" in out
    assert "want it 7.2 cents apart" in out
    found = tonegen("tonegen tunings explain guitar-open-d --string 3 --json").json["notes"][0]
    mean = sum(wish["share"] * wish["wished_cents"] for wish in found["wishes"])
    assert mean == pytest.approx(found["offset_cents"], abs=1e-9)
    assert tonegen("tonegen tunings explain brass-four-valves").code == 0
    assert tonegen("tonegen tunings explain guitar-standard").code == 0


def test_check_sets_what_is_computed_beside_what_is_printed(tonegen):
    checked = tonegen("tonegen tunings check kirnberger-2 --json").json
    assert all(note["agrees"] for note in checked["notes"])
    assert len(checked["notes"]) == 12
    assert "Loose: the table is rounded" in tonegen("tonegen tunings check circulating-fifth-comma-1977").out
    assert "prints no cents" in tonegen("tonegen tunings check violin").out


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("tunings show guitar-opn-d", 'no tuning called "guitar-opn-d"; near it: guitar-open-d'),
        ("tunings explain violin --string 5", "--string: violin has no string 5; it has strings 1 to 4"),
        ("tunings show violin --anchor C", "violin has no C; take root, mean or one of its notes"),
        ("tunings show violin --anchor H", '"H" is not the name of a note'),
        ('tunings list --strings "D H"', '--strings: "H" is not the name of a note'),
        ("copy tuning bugle mine", "bugle has no strings"),
        ("copy instrument guitar-open-d mine", "copy it so: tonegen copy tuning guitar-open-d mine"),
        ("beats --instrument bugle --grip 1", "bugle has no strings, so it is no instrument"),
        ("beats --instrument violin --temperament viola --grip 1,2", "belongs to viola, not to violin"),
    ],
)
def test_what_cannot_be_is_one_line_and_2(tonegen, line, why):
    ended = tonegen(f"tonegen {line}")
    assert ended.code == 2
    assert why in ended.err
    assert ended.err.count("\n") == 1


def test_a_tuning_is_taken_wherever_an_instrument_and_a_temperament_are(tonegen):
    tuned = "--instrument guitar-open-d --temperament guitar-open-d"
    pairs = tonegen(f"tonegen beats {tuned} --grip 'open strings' --json").json["intervals"]
    assert max(abs(pair["beats_per_second"]) for pair in pairs) < 1e-9
    assert "−13.7" in tonegen(f"tonegen chart {tuned}").out
    assert tonegen("tonegen beats --low A3 --high C#4 --temperament werckmeister-4").code == 0


def test_a_copy_is_an_instrument_and_a_scene_of_the_players_own(tonegen):
    copied = tonegen("tonegen copy tuning slack-b-flat mine --json").json
    assert presets.instrument("mine").root_name == "Bb"
    assert [grip.grip.name for grip in scene("mine").grips] == ["open strings"]
    assert tonegen("tonegen temper mine").code == 0
    assert json.dumps(copied["scene"]).endswith('mine.toml"')
    again = tonegen("tonegen copy tuning violin mine")
    assert (again.code, "already exists" in again.err) == (2, True)


def test_only_these_commands_load_the_library():
    code = (
        "import sys; from tonegen import presets\n"
        "presets.instrument('e9-ten-string'); presets.temperament('vallotti')\n"
        "print(*sys.modules)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=os.environ
    )
    assert not [module for module in ran.stdout.split() if "tunings" in module]
