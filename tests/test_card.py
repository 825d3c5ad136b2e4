"""The printed card: nothing over its edges or over itself, black on white."""

import re
import subprocess
from dataclasses import replace
from functools import cache
from itertools import combinations
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.image import imread

from tonegen import presets
from tonegen.copedent import copedent
from tonegen.drop import NO_DROP
from tonegen.instrument import Change, Instrument, String, TuningPoint
from tonegen.order.plan import tuning_order
from tonegen.order.steps import Reference
from tonegen.paper.card import Card, draw, own_grips
from tonegen.presets.files import SHIPPED
from tonegen.presets.own import save_temperament
from tonegen.presets.scenes import scene
from tonegen.temperament import EQUAL, OwnTemperament
from tonegen.tempering.scene import WantedGrip
from tonegen.tempering.temper import temper
from tonegen.words import signed

INSTRUMENTS = [
    "e9-ten-string", "c6-ten-string", "universal-twelve-string", "banjo-open-g", "bass-four-string",
    "guitar-six-string",
]  # fmt: skip
ARMS_LENGTH_POINTS = 8.0  # common practice, no source: the smallest type that is read at arm's length


@cache
def card_of(name, drop_name="none", scene_name=None):
    instrument, target, drop = (
        presets.instrument(name),
        presets.temperament("five-limit-just"),
        presets.drop(drop_name),
    )
    target = target.on(instrument.root)
    played = scene(scene_name) if scene_name else None
    return Card(
        copedent(instrument, target, drop, 440.0),
        target,
        drop,
        tuning_order(
            instrument,
            target,
            drop,
            440.0,
            points=played.points() if played else (),
            played=played.states if played else (),
        ),
        played.grips if played else own_grips(instrument),
        played.title if played else "",
    )


def boxes(figure):
    """Every piece of type with the box that it covers, in inches."""
    FigureCanvasAgg(figure)
    figure.draw_without_rendering()
    found = []
    legends = [axes.get_legend() for axes in figure.axes if axes.get_legend()]
    on_axes = [text for axes in figure.axes for text in (axes.xaxis.label, axes.yaxis.label)]
    ticks = [text for axes in figure.axes for text in (*axes.get_xticklabels(), *axes.get_yticklabels())]
    for text in [*figure.texts, *on_axes, *(text for legend in legends for text in legend.get_texts())]:
        if text.get_text():
            found.append(
                (text.get_text(), text.get_fontsize(), text.get_window_extent().extents / figure.dpi)
            )
    assert all(text.get_fontsize() >= ARMS_LENGTH_POINTS for text in ticks)
    return found


def words_of(pages):
    return [words for page in pages for words, _, _ in boxes(page)]


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(
    ("name", "scene_name"),
    [
        *((name, None) for name in INSTRUMENTS),
        ("e9-ten-string", "e9-dance-band"), ("c6-ten-string", "c6-swing-band"),
    ],
)  # fmt: skip
def test_everything_is_on_the_page_and_nothing_on_anything_else(name, scene_name, paper):
    drop_name = "demo-soft-cabinet" if name == "e9-ten-string" else "none"
    for figure in draw(card_of(name, drop_name, scene_name), paper):
        width, height = figure.get_size_inches()
        assert (width, height) == ((8.27, 11.69) if paper == "a4" else (8.5, 11.0))
        check_type(figure)


def check_type(figure):
    """All of it on the page, large enough, and nothing on anything else."""
    width, height = figure.get_size_inches()
    placed = boxes(figure)
    for words, points, (left, bottom, right, top) in placed:
        assert left >= 0.2, words
        assert right <= width - 0.2, words
        assert bottom >= 0.2, words
        assert top <= height - 0.2, words
        assert points >= ARMS_LENGTH_POINTS, words
    for (one, _, first), (other, _, second) in combinations(placed, 2):
        # Lines of type may touch with the space above and below them, never with the letters.
        across = min(first[2], second[2]) - max(first[0], second[0])
        up = min(first[3], second[3]) - max(first[1], second[1])
        assert across <= 0.01 or up <= 0.02, (one, other)


def test_targets_drops_beats_and_order_are_all_there():
    card = card_of("e9-ten-string", "demo-soft-cabinet", "e9-dance-band")
    words = words_of(draw(card))

    for target in card.chart.targets:
        assert f"{target.hz:.2f}" in words
    assert card.scene in words
    assert "8:  −3.9 with A+B,  −2.3 with A,  −4.2 with B+C,  −2.2 with C" in words  # 0.0 open
    for number, step in enumerate(card.order.steps, start=1):
        assert str(number) in words
        assert f"{step.accuracy_cents:.1f}" in words
        assert f"{step.coincident_hz:.0f}" in words
        assert ("+".join(step.state.changes) or "open") in words
        assert ":".join(map(str, step.partials)) in words
    tones = {str(step.against) for step in card.order.steps if isinstance(step.against, Reference)}
    assert [each for each in words if each.endswith(f"; {min(tones)}")], tones
    names = [each.grip.name for each in scene("e9-dance-band").grips]
    assert [each for each in words if each in names] == names  # all of them, in the scene's order
    assert "A+B; frets 0, 3, 8" in words


def test_many_tones_of_one_note_are_told_apart():
    """Levers of one knee take strings to G#2, a tritone and octaves below: each has a tone of its own."""
    levers = tuple(Change(f"L{number}", {number: 1}) for number in range(2, 9))
    low = tuple(String(number, 43) for number in range(2, 9))
    rig = Instrument(
        "far", "Far apart", (String(1, 62), *low), levers,
        exclusive=(frozenset(lever.name for lever in levers),),
    )  # fmt: skip
    points = {TuningPoint(n, (f"L{n}",)): float(n) for n in range(2, 9)}
    own = OwnTemperament("mine", "far", points)
    plan = tuning_order(rig, own, NO_DROP, 440.0)
    pages = draw(Card(copedent(rig, own, NO_DROP, 440.0), own, NO_DROP, plan, (), ""))
    words = words_of(pages)

    for page in pages:
        check_type(page)
    tones = {step.against for step in plan.steps if isinstance(step.against, Reference)}
    assert len(tones) == 8
    for tone in tones:
        assert any(str(tone) in each for each in words)
    assert {"tone D4", "G#2", "G#2 (2)", "G#2 (7)"} <= set(words)


def test_twelve_strings_have_all_their_grips():
    card = card_of("universal-twelve-string")
    words = words_of(draw(card, "letter"))

    assert len(card.grips) > 10
    assert all(each.grip.name in words for each in card.grips)
    assert "page 2" in words


def test_many_strings_and_changes_take_more_pages():
    """Twenty-four strings and twenty changes, each with a half a letter's width: two tables over pages."""
    strings = tuple(String(number, 90 - 2 * number) for number in range(1, 25))
    changes = tuple(Change(f"C{number}", {number: 2, number + 1: -1}) for number in range(1, 21))
    rig = Instrument("large", "Many strings", strings, changes)
    plan = tuning_order(rig, EQUAL, NO_DROP, 440.0)
    card = Card(copedent(rig, EQUAL, NO_DROP, 440.0), EQUAL, NO_DROP, plan, own_grips(rig))
    pages = draw(card)
    words = words_of(pages)

    assert len(pages) > 2
    assert sum(each.startswith("Targets: note, cents from equal") for each in words) == 2
    assert all(f"{target.hz:.2f}" in words for target in card.chart.targets)
    assert all(points >= ARMS_LENGTH_POINTS for page in pages for _, points, _ in boxes(page))


def test_beats_and_steps_as_numbers():
    """In equal temperament, by hand: B3 to E4 is 3 * 329.63 - 4 * 246.94 = 1.12: 11 beats in 10 seconds."""
    card = replace(card_of("e9-ten-string"), temperament=presets.temperament("equal"), stiff=False)
    plan = tuning_order(card.instrument, card.temperament, card.drop, 440.0, stiff=False)
    words = words_of(draw(replace(card, order=plan)))

    assert any("5–4  +11  at 988" in each for each in words)
    moves = [(step.count.split()[-2], step.beats_per_second) for step in plan.steps]
    expected = [
        f"{abs(round(rate * 10))} {'up' if move == 'raise' else 'down'}"
        for move, rate in moves
        if round(rate * 10)
    ]
    assert expected
    assert set(expected) <= set(words)


def test_beats_double_in_an_octave_along_the_neck():
    """By hand: E4 to G#4 in equal temperament beats 4 * 415.305 - 5 * 329.628 = 13.08; twice at fret 12."""
    rig = presets.instrument("e9-ten-string")
    whole = rig.grip("E major 3-4-5")
    third = replace(whole, strings=(3, 4), roles=whole.roles[:2], ratios=whole.ratios[:2])
    card = replace(
        card_of("e9-ten-string"),
        temperament=presets.temperament("equal"),
        grips=(WantedGrip(third, rig.state()),),
        stiff=False,
    )
    (line,) = draw(card)[-1].axes[0].get_lines()

    frets, rates = line.get_data()
    assert line.get_label() == "open: 4–3, 5:4 wide"
    assert frets.tolist() == list(range(16))
    assert rates[0] == pytest.approx(4 * 415.30470 - 5 * 329.62756, abs=1e-3)
    assert rates[12] == pytest.approx(2 * rates[0])
    # B of a plain .014 at E4 and of a .011 at G#4, by Fletcher's law; four times that at fret 12
    (line,) = draw(replace(card, stiff=True))[-1].axes[0].get_lines()
    for fret in (0, 12):
        low, high = 3.18e-5 * 2 ** (fret / 6), 1.24e-5 * 2 ** (fret / 6)
        fifth, fourth = 5 * ((1 + 25 * low) / (1 + low)) ** 0.5, 4 * ((1 + 16 * high) / (1 + high)) ** 0.5
        beats = 2 ** (fret / 12) * (fourth * 415.30470 - fifth * 329.62756)
        assert line.get_ydata()[fret] == pytest.approx(beats, abs=0.02)


def test_strings_of_unknown_wire_are_named_once():
    """Of string 6 alone nobody told the gauge."""
    card = card_of("e9-ten-string")
    rig = card.instrument
    strings = tuple(
        replace(each, stiffness=None, wire=None) if each.number == 6 else each for each in rig.strings
    )
    bare = replace(rig, strings=strings)
    plan = tuning_order(bare, card.temperament, card.drop, 440.0)
    words = " ".join(words_of(draw(replace(card, chart=replace(card.chart, instrument=bare), order=plan))))

    assert words.count("How stiff string 6 may be is not known") == 1
    assert "the beats leave it out, and the accuracy is wider for it" in words
    assert "is not known" not in " ".join(words_of(draw(card)))


@pytest.fixture
def my_e9():
    save_temperament(temper(scene("e9-dance-band")).temperament("my-e9"))


def test_a_pdf_of_one_page_whose_type_can_be_searched(tonegen, my_e9, tmp_path):
    path = tmp_path / "card.pdf"
    ended = tonegen(f"tonegen chart --instrument e9-ten-string --temperament my-e9 --out {path}")

    assert (ended.code, ended.err) == (0, "")
    assert str(path) in ended.out
    told = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
    assert re.search(r"Pages: +2\n", told)
    assert "(A4)" in told
    text = subprocess.run(
        ["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "my-e9" in text
    assert "331.14" in text
    assert "Beats along the neck" in text
    assert "F# 7 V 7-5-4" in text  # a grip of the scene that it was tempered for
    assert "demo-soft-cabinet" in text
    # what the command line says of A+F, strings 6 and 5, with the drop
    line = "tonegen beats --instrument e9-ten-string --temperament my-e9 --changes A,F --grip 5,6"
    rates = [
        tonegen(f"{line} --timbre {timbre} --json").json["intervals"][0]["beats_per_second"]
        for timbre in ("string", "harmonic")
    ]
    assert abs(rates[0] - rates[1]) > 0.5
    assert f"6–5 {signed(rates[0] * 10, 0)} at" in " ".join(text.split())


def test_the_scene_and_the_paper_are_chosen(tonegen, my_e9, tmp_path):
    path = tmp_path / "card.pdf"
    line = f"tonegen chart --instrument e9-ten-string --out {path} --paper letter --force"

    def printed(more):
        ended = tonegen(f"{line} {more}")
        assert ended.code == 0
        told = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True)
        return ended.out, told.stdout

    said, text = printed("--scene e9-dance-band")
    assert "As in e9-dance-band: drop demo-soft-cabinet and A4 = 440 Hz" in said
    assert "F# 7 V 7-5-4" in text
    said, text = printed("--scene e9-dance-band --drop none --reference 442")
    assert "As in e9-dance-band: drop none and A4 = 442 Hz" in said
    assert "A4 = 442 Hz" in text
    _, text = printed("--temperament my-e9 --scene none")
    assert "F# 7 V 7-5-4" not in text
    told = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
    assert "612 x 792 pts (letter)" in told
    assert "is for c6-ten-string" in tonegen.refused(f"{line} --scene c6-swing-band")
    mine = tmp_path / "mine.toml"
    mine.write_bytes((SHIPPED / "scenes" / "e9-dance-band.toml").read_bytes())
    tonegen(f"tonegen temper {mine} --save other-e9")
    mine.unlink()
    refusal = tonegen.refused(f"{line} --temperament other-e9")
    assert f"other-e9 was made for scene {mine}: {mine}: no such file; or give --scene" in refusal


def test_an_svg_is_well_formed_and_a_png_black_on_white(tonegen, my_e9, tmp_path):
    for ending in ("svg", "png"):
        path = tmp_path / f"card.{ending}"
        assert tonegen(f"tonegen chart --instrument e9-ten-string --out {path}").code == 0
    words = ""
    for name in ("card.svg", "card-2.svg", "card-3.svg"):
        svg = ElementTree.parse(tmp_path / name).getroot()
        assert svg.tag.endswith("svg")
        words += "".join(svg.itertext())
    assert "Beats along the neck" in words
    pixels = imread(tmp_path / "card.png")[..., :3]
    assert np.ptp(pixels, axis=2).max() < 0.01  # no colour
    assert pixels.min() < 0.05
    assert np.mean(pixels > 0.89) > 0.9


def test_a_card_is_never_half_written(tonegen, my_e9, tmp_path):
    there = tmp_path / "card.pdf"
    there.write_text("mine")
    other_name = tmp_path / "other.txt"
    other_name.hardlink_to(there)
    line = f"tonegen chart --instrument e9-ten-string --out {there}"

    assert "already exists; give another name, or --force" in tonegen.refused(line)
    assert there.read_text() == "mine"
    assert tonegen(f"{line} --force").code == 0
    assert there.read_bytes().startswith(b"%PDF")
    assert other_name.read_text() == "mine"  # renamed into place, not written over
    assert "end its name in .pdf" in tonegen.refused(
        f"tonegen chart --instrument e9-ten-string --out {tmp_path}/card.docx"
    )
    refusal = tonegen.refused(f"tonegen chart --instrument e9-ten-string --out {tmp_path}/none/card.pdf")
    assert "cannot be written" in refusal
    assert sorted(path.name for path in tmp_path.iterdir() if path.is_file()) == ["card.pdf", "other.txt"]


def test_the_same_card_twice_is_the_same_file(tonegen, tmp_path):
    for name in ("one", "two"):
        assert tonegen(f"tonegen chart --instrument c6-ten-string --out {tmp_path}/{name}.pdf").code == 0
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()
