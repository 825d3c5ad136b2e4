"""The library of tunings: offsets against a second solver and printed tables, and what is written wrong."""

import re
import tomllib
from dataclasses import replace
from fractions import Fraction
from itertools import combinations, pairwise

import numpy as np
import pytest

from tonegen import presets
from tonegen.errors import BadPreset, BadValue
from tonegen.instrument import TuningPoint
from tonegen.interval import Ratio
from tonegen.pitch import parse_pitch_class
from tonegen.presets.files import LIBRARY, SHIPPED, library_files
from tonegen.presets.scenes import scene
from tonegen.presets.tunings import grips_of, instrument_of, temperament_of, tunings, tunings_in
from tonegen.temperament import offsets_along_fifths, parse_fifth
from tonegen.tunings import rules
from tonegen.tunings.explain import explained
from tonegen.tunings.records import Rule
from tonegen.tunings.search import found_by_strings
from tonegen.tunings.solve import compared_with_source, solved

ROWS = {
    row["name"]: row
    for path in library_files(LIBRARY)
    for row in tomllib.loads(path.read_text(encoding="utf-8"))["tunings"]
}
TUNINGS = {tuning.name: tuning for tuning in tunings()}
each_tuning = pytest.mark.parametrize("name", ROWS)


def test_well_over_a_hundred_tunings_each_with_a_source_in_little_room():
    assert len(TUNINGS) == len(ROWS) >= 110
    assert not [name for name, row in ROWS.items() if re.search("memory|no source", row["source"])]
    assert sum(path.stat().st_size for path in library_files(LIBRARY)) < 60_000


@each_tuning
def test_rows_are_short(name):
    text = "\n".join(path.read_text(encoding="utf-8") for path in library_files(LIBRARY))
    row = text.split(f'name = "{name}"\n')[1].split("\n\n")[0]
    assert 4 <= 1 + len(row.strip().splitlines()) <= 7 + ("loose" in ROWS[name])
    assert set(ROWS[name]) >= {"name", "title", "rule", "source"}


@pytest.mark.parametrize("name", [name for name, row in ROWS.items() if "published" in row])
def test_what_the_source_prints_is_met_within_its_rounding(name):
    """Each row names its source; where a table is rounded otherwise the row is loose, with the reason."""
    tuning = TUNINGS[name]
    off = [each.printed.note for each in compared_with_source(tuning) if not each.agrees]
    assert bool(off) == bool(tuning.loose)
    assert all(abs(each.computed_cents - each.printed.cents) < 0.7 for each in compared_with_source(tuning))


def dense(row):
    """The offsets of a row by numpy's own least squares over the pairs, from the text of the row alone."""
    semitones = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

    def key(note):
        letter, accidental, octave = re.fullmatch(r"([A-G])([#b]?)(\d?)", note).groups()
        return semitones[letter] + {"#": 1, "b": -1, "": 0}[accidental] + 12 * int(octave or 0)

    def cents(fraction):
        return 1200 * np.log2(float(fraction))

    just = {0: (1, 1), 3: (6, 5), 4: (5, 4), 5: (4, 3), 7: (3, 2), 8: (8, 5), 9: (5, 3)}
    rows, wanted, weights = [], [], []
    keys = [key(note) for note in row.get("strings", "").split()]

    def pair(low, high, want, weight=1.0):
        rows.append(np.eye(count)[high] - np.eye(count)[low])
        wanted.append(want)
        weights.append(weight)

    match row["rule"]:
        case "chord" | "fifths" | "shapes":
            count = len(keys)
            allowed = {0, 5, 7} if row["rule"] == "fifths" else set(just)
            held = row.get("shapes", {"": " ".join("0" * count)})
            for frets in held.values():
                played = [(keys[i] + int(f), i) for i, f in enumerate(frets.split()) if f != "x"]
                for one, other in combinations(played, 2):
                    (low, i), (high, j) = sorted((one, other))
                    step = (high - low) % 12
                    if step in allowed:
                        octave = 4.0 if step == 0 and row["rule"] != "shapes" else 1.0
                        pair(i, j, cents(Fraction(*just[step])) - 100 * step, octave)
            roots = [i for i in range(count) if keys[i] % 12 == key(row["root"]) % 12]
            root = min(roots, key=lambda i: keys[i])
        case "series":
            first, last = map(int, row["partials"].split("-"))
            exact = [cents(Fraction(n, first)) for n in range(first, last + 1)]
            return np.array([each - 100 * round(each / 100) for each in exact])
        case "scale":
            parts = [part.split("=") for part in row["scale"].split()]
            root = [ratio for _, ratio in parts].index("1:1")
            return np.array(
                [
                    cents(Fraction(ratio.replace(":", "/"))) - 100 * (key(note) - key(parts[root][0]))
                    for note, ratio in parts
                ]
            )
        case "valves":
            tubes = [part.split("=")[1] for part in row["valves"].split()]
            extra = [Fraction(t) if "/" in t else 2 ** (float(t) / 1200) - 1 for t in tubes]
            steps = [round(cents(1 + each) / 100) for each in extra]
            held = [h for n in range(1, len(extra) + 1) for h in combinations(range(len(extra)), n)]
            held.sort(key=lambda h: sum(steps[i] for i in h))
            return np.array(
                [0.0, *(100 * sum(steps[i] for i in h) - cents(1 + sum(extra[i] for i in h)) for h in held)]
            )
        case "circle":
            count, root, fifths, closing = 12, 0, {}, None
            comma = {"pythagorean": cents(Fraction(3**12, 2**19)), "syntonic": cents(Fraction(81, 80))}
            for part in row["circle"].split(";"):
                chain, *rest = part.split()
                if chain == "closing":
                    closing = key(rest[0].split("-")[0])
                    continue
                notes = chain.split("-")
                for note in notes[:-1]:
                    fifths[key(note) % 12] = sum(
                        float(Fraction(f)) * comma[c] for f, c in zip(rest[::2], rest[1::2], strict=True)
                    )
            for low in range(12):
                if low != closing:
                    pair(low, (low + 7) % 12, cents(Fraction(3, 2)) - 700 + fifths.get(low, 0.0))
    scale = np.sqrt(weights)
    x = np.linalg.lstsq(np.array(rows) * scale[:, None], np.array(wanted) * scale, rcond=None)[0]
    return x - x[root]


@each_tuning
def test_a_second_solver_finds_the_same_offsets(name):
    assert solved(TUNINGS[name]).offsets_cents == pytest.approx(dense(ROWS[name]), abs=1e-9)


@each_tuning
def test_each_offset_is_the_mean_of_the_wishes_by_their_share(name):
    found = solved(TUNINGS[name])
    for place in range(len(found.tuning.notes)):
        note = explained(found, place)
        if note.wishes:
            assert sum(wish.share for wish in note.wishes) == pytest.approx(1, abs=1e-12)
            mean = sum(wish.share * wish.wished_cents for wish in note.wishes)
            assert mean == pytest.approx(note.offset_cents, abs=1e-9)


@each_tuning
def test_what_is_won_is_never_a_loss(name):
    found = solved(TUNINGS[name])
    assert found.rms_after_cents <= found.rms_before_cents + 1e-12


STRUNG = [name for name, tuning in TUNINGS.items() if tuning.strings and tuning.rule is not Rule.SHAPES]


@pytest.mark.parametrize("name", STRUNG)
@pytest.mark.parametrize("up", [-7, 1, 5])
def test_transposed_strings_stand_alike(name, up):
    tuning = TUNINGS[name]
    keys = [note.key + up for note in tuning.notes]
    wishes = rules.fifths(keys, tuning.root) if tuning.rule is Rule.FIFTHS else rules.chord(keys)
    assert solved(replace(tuning, wishes=wishes)).offsets_cents == pytest.approx(
        solved(tuning).offsets_cents, abs=1e-9
    )


FLATS = {"C#": "Db", "D#": "Eb", "F#": "Gb", "G#": "Ab", "A#": "Bb"}


@pytest.mark.parametrize("name", [name for name, row in ROWS.items() if "#" in row.get("strings", "")])
def test_flats_for_sharps_change_nothing(name, tmp_path):
    row = ROWS[name] | {"root": FLATS.get(ROWS[name]["root"], ROWS[name]["root"])}
    row["strings"] = re.sub("[ACDFG]#", lambda sharp: FLATS[sharp[0]], row["strings"])
    (flat,) = read(tmp_path, row)
    assert solved(flat).offsets_cents == pytest.approx(solved(TUNINGS[name]).offsets_cents, abs=1e-12)


def test_a_string_taken_from_a_pure_chord_leaves_it_pure():
    whole = TUNINGS["guitar-open-d"]
    assert solved(whole).rms_after_cents == pytest.approx(0, abs=1e-9)
    for gone in range(len(whole.notes)):
        notes = [note for place, note in enumerate(whole.notes) if place != gone]
        left = replace(whole, notes=tuple(notes), wishes=rules.chord([note.key for note in notes]), root=0)
        assert solved(left).rms_after_cents == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("name", "before", "after", "equal"),
    [("guitar-standard", 9.62, 9.59, True), ("guitar-standard-in-g", 10.03, 8.14, False)],
)
def test_frets_that_stay_let_little_be_won_over_many_chords(name, before, after, equal):
    """Ten open chords, and those of G: computed from the definition, each consonance of a shape alike."""
    found = solved(TUNINGS[name])
    assert (round(found.rms_before_cents, 2), round(found.rms_after_cents, 2)) == (before, after)
    assert found.leave_it_equal is equal


@pytest.mark.parametrize("rounding", [-1e-14, 0.0, 1e-14])
def test_of_wishes_that_differ_by_a_rounding_the_same_one_is_named_always(rounding):
    """What A2 and A3 wish is one pitch; libraries for matrices differ in the last digits of each."""
    found = solved(TUNINGS["pedal-steel-c6-open"])
    cents = found.offsets_cents.copy()
    cents[[note.name for note in found.tuning.notes].index("A2")] += rounding
    assert explained(replace(found, offsets_cents=cents), 9).clash.low.who == "string 4, A3"


def test_an_added_ninth_is_where_the_comma_shows():
    """D over C6, a fifth above G and a fourth below A: the syntonic comma, 21.5 cents, stays."""
    found = solved(TUNINGS["pedal-steel-c6-open"])
    clash = explained(found, len(found.tuning.notes) - 1).clash
    assert {clash.low.who, clash.high.who} == {"string 4, A3", "string 5, G3"}
    assert 15 < clash.apart_cents < 21.51
    assert clash.high.beats_per_second < -2  # the fifth on G is narrow
    assert clash.gone_in == ("Bb",)


def test_beats_are_those_of_the_strings_as_tuned():
    """Partials by whole multiples: the tenth of F2 against the third of D4, the fourth of A3 against it."""
    found = solved(TUNINGS["pedal-steel-c6-open"])
    cents = dict(zip((note.name for note in found.tuning.notes), found.offsets_cents, strict=True))
    d4, f2, a3 = (
        440 * 2 ** ((key - 69) / 12 + cents[name] / 1200)
        for name, key in (("D4", 62), ("F2", 41), ("A3", 57))
    )
    beats = {wish.who: wish.beats_per_second for wish in explained(found, 9).wishes}
    assert beats["string 9, F2"] == pytest.approx(3 * d4 - 10 * f2, abs=1e-9)
    assert beats["string 4, A3"] == pytest.approx(3 * d4 - 4 * a3, abs=1e-9)


def test_an_octave_weighs_as_much_as_four_consonances():
    assert [wish.weight for wish in rules.chord([50, 57, 62])] == [1.0, 4.0, 1.0]


def test_a_wish_across_octaves_has_them_in_its_ratio():
    """D2 and B3: a major sixth, 5:3, and an octave."""
    assert [wish.ratio for wish in rules.chord([38, 59])] == [Ratio(10, 3)]


def test_a_pure_chord_has_no_clash():
    found = solved(TUNINGS["guitar-open-g"])
    assert [explained(found, place).clash for place in range(6)] == [None] * 6


def test_the_root_the_a_or_the_mean_stands_at_equal():
    violin = TUNINGS["violin"]
    assert solved(violin, "A").offsets_cents == pytest.approx([-3.910, -1.955, 0, 1.955], abs=5e-4)
    assert solved(violin, "mean").offsets_cents.mean() == pytest.approx(0, abs=1e-12)
    assert solved(TUNINGS["guitar-open-d"], "F#").offsets_cents[3] == 0
    with pytest.raises(BadValue, match="violin has no C; take root, mean or one of its notes: G3 D4 A4 E5"):
        solved(violin, "C")


@pytest.mark.parametrize("name", ["werckmeister-4", "kirnberger-2", "meantone-third-comma", "marpurg-7"])
def test_circles_of_one_comma_are_what_temperament_files_give(name):
    tempering, comma, closing = {}, "pythagorean", None
    for part in ROWS[name]["circle"].split(";"):
        chain, *rest = part.split()
        if chain == "closing":
            closing = parse_fifth(rest[0])
            continue
        notes, comma = chain.split("-"), rest[1]
        tempering |= {parse_fifth(f"{a}-{b}"): Fraction(rest[0]) for a, b in pairwise(notes)}
    expected = offsets_along_fifths(comma, tempering, closing)
    assert temperament_of(TUNINGS[name]).offsets_cents == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("name", [name for name, tuning in TUNINGS.items() if tuning.strings])
def test_a_tuning_with_strings_is_an_instrument_and_its_own_temperament(name):
    instrument, temperament = presets.instrument(name), presets.temperament(name)
    offsets = solved(TUNINGS[name]).offsets_cents
    count = len(offsets)
    for place, note in enumerate(TUNINGS[name].notes):
        point = TuningPoint(count - place)
        assert instrument.key(point) == note.key
        assert temperament.offset_cents(instrument, point) == offsets[place]


def test_no_name_is_taken_twice_by_what_ships():
    for kind in ("instruments", "temperaments"):
        assert not {file.stem for file in (SHIPPED / kind).glob("*.toml")} & set(TUNINGS)


def test_the_players_own_comes_first():
    own = presets.own_folder() / "instruments"
    own.mkdir(parents=True)
    (own / "guitar-open-d.toml").write_text((SHIPPED / "instruments" / "banjo-open-g.toml").read_text())
    assert len(presets.instrument("guitar-open-d").strings) == 5
    assert presets.temperament("guitar-open-d").offsets_cents


def test_what_has_no_strings_is_no_instrument():
    with pytest.raises(
        BadPreset, match="bugle has no strings, so it is no instrument; see: tonegen tunings show bugle"
    ):
        presets.instrument("bugle")
    with pytest.raises(BadPreset, match="bugle has not all twelve notes, so it is no temperament"):
        presets.temperament("bugle")


def test_a_name_that_is_nearly_one_is_told():
    with pytest.raises(BadPreset, match='no instrument called "guitar-opn-d"; near it: guitar-open-d'):
        presets.instrument("guitar-opn-d")


@pytest.mark.parametrize(
    "name", [name for name, tuning in TUNINGS.items() if tuning.strings and grips_of(tuning)]
)
def test_grips_play_what_their_roles_claim(name):
    instrument = instrument_of(TUNINGS[name])
    for grip in instrument.grips:
        root = parse_pitch_class(grip.root)
        for string, ratio in zip(grip.strings, grip.ratios, strict=True):
            assert (instrument.string(string).open_key - root) % 12 == round(ratio.cents / 100) % 12


def found(*notes):
    return {each.tuning.name: each.transposed for each in found_by_strings(TUNINGS.values(), notes)}


def test_strings_are_found_in_any_octave_and_transposed():
    assert found(2, 9, 2)["guitar-open-d"] == ""
    assert found(4, 11, 4)["guitar-open-d"] == "2 semitones lower"
    assert found(1, 8, 1)["guitar-open-d"] == "1 semitone higher"
    assert "violin" not in found(2, 9, 2)
    assert next(iter(found(7, 2, 9, 4))) in {"violin", "mandolin", "octave-mandolin"}


def read(folder, *rows):
    lines = ['title = "Mine"', 'source = "invented"']
    for row in rows:
        lines += ["", "[[tunings]]"]
        for key, value in row.items():
            if isinstance(value, dict):
                value = "{ " + ", ".join(f'"{name}" = "{frets}"' for name, frets in value.items()) + " }"
                lines.append(f"{key} = {value}")
            else:
                lines.append(f'{key} = "{value}"')
    (folder / "mine.toml").write_text("\n".join([*lines, ""]))
    return tunings_in(folder)


CHORD = {
    "name": "one",
    "title": "One",
    "rule": "chord",
    "strings": "D3 A3 D4",
    "root": "D",
    "source": "invented",
}
SHAPES = CHORD | {"rule": "shapes", "shapes": {"D": "0 0 0"}}
BARE = {"name": "one", "title": "One", "source": "invented"}


@pytest.mark.parametrize(
    ("row", "key", "why"),
    [
        (CHORD | {"strings": "D3 H3 D4"}, "strings", '"H3" is not a note name'),
        (CHORD | {"root": "E"}, "root", '"E" is not among the strings: D3 A3 D4'),
        (
            SHAPES | {"shapes": {"D": "0 0"}},
            "shapes", "D has 2 frets for 3 strings; write x for a silent one",
        ),
        (SHAPES | {"shapes": {"D": "0 25 0"}}, "shapes", "D: fret 25 is off the neck; frets go from 0 to 24"),
        (SHAPES | {"shapes": {"D": "0 q 0"}}, "shapes", '"q" is not a fret'),
        (CHORD | {"rule": "magic"}, "rule", "invalid enum value 'magic'"),
        (CHORD | {"shapes": {"D": "0 0 0"}}, "shapes", 'rule "chord" has no shapes'),
        (CHORD | {"rule": "fifths", "strings": "D3 F3"}, "strings", r"string 1 \(F\) cannot be reached"),
        (
            BARE | {"rule": "scale", "scale": "C4=1:1 E4=3:2"},
            "scale", r"E4=3:2 is \+302.0 cents off that note",
        ),
        (BARE | {"rule": "scale", "scale": "C4=9:8"}, "scale", "no note is 1:1"),
        (BARE | {"rule": "valves", "root": "Bb", "valves": "1=200 2="}, "valves", "valve 2 has no length"),
        (BARE | {"rule": "valves", "root": "Bb", "valves": "1=0/8"}, "valves", "valve 1 has no length"),
        (
            BARE | {"rule": "circle", "circle": "C-G-D -1/4 syntonic; G-D -1/4 syntonic; closing F-C"},
            "circle", "G-D is given two fractions; give each fifth one",
        ),
        (
            BARE | {"rule": "circle", "circle": "C-G-D -1/4 pythagorean"},
            "circle", "the circle does not close: the fractions add up to -1/2 of the Pythagorean",
        ),
        (
            BARE | {"rule": "circle", "circle": "C-G -1/4 septimal; closing F-C"},
            "circle", '"septimal" is not a comma',
        ),
        (
            BARE | {"rule": "circle", "circle": "C-G -1/0 syntonic; closing F-C"},
            "circle", "is not a fraction",
        ),
        (
            BARE | {"rule": "circle", "circle": "C-G -1/4 syntonic; closing C-G"},
            "circle", "takes what is left",
        ),
        (BARE | {"rule": "series", "root": "C", "partials": "3-8"}, "partials", "the lowest partial is 3"),
        (BARE | {"rule": "series", "root": "C", "partials": "1-99"}, "partials", "partial 99 is too high"),
        (CHORD | {"published": "B3 2"}, "published", '"B3 2" is not a note of this tuning with its cents'),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_with_file_row_and_key(row, key, why, tmp_path):
    with pytest.raises(
        BadPreset, match=rf"mine\.toml: line \d+, row 2 of tunings, {key}: .*{why}"
    ) as refused:
        read(tmp_path, CHORD | {"name": "sound"}, row)
    assert "\n" not in str(refused.value)


def test_a_name_that_is_there_twice_is_told(tmp_path):
    with pytest.raises(BadPreset, match=r'row 2 of tunings, name: "one" is taken already'):
        read(tmp_path, CHORD, CHORD)


def test_a_scene_takes_a_tuning_as_its_instrument(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text('title = "Mine"\ninstrument = "guitar-open-g"\n[[grips]]\nname = "open strings"\n')
    assert scene(str(file)).instrument.root == 7
