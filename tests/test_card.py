"""The printed card: one page, nothing over its edges or over itself, black on white."""

import re
import subprocess
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.image import imread

from tonegen import presets
from tonegen.copedent import copedent
from tonegen.order.plan import tuning_order
from tonegen.paper.card import Card, draw, grips_for_card
from tonegen.presets.own import save_temperament
from tonegen.presets.scenes import scene
from tonegen.tempering.temper import temper

INSTRUMENTS = [
    "e9-ten-string", "c6-ten-string", "universal-twelve-string", "banjo-open-g", "bass-four-string",
    "guitar-six-string",
]  # fmt: skip
ARMS_LENGTH_POINTS = 8.0  # common practice, no source: the smallest type that is read at arm's length


def card_of(name, drop_name="none"):
    instrument, target, drop = (
        presets.instrument(name),
        presets.temperament("five-limit-just"),
        presets.drop(drop_name),
    )
    target = target.on(instrument.root)
    return Card(
        copedent(instrument, target, drop, 440.0),
        target,
        drop,
        tuning_order(instrument, target, drop, 440.0),
        grips_for_card(instrument),
    )


def boxes(figure):
    """Every piece of type with the box that it covers, in inches."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    found = []
    legends = [axes.get_legend() for axes in figure.axes if axes.get_legend()]
    for text in [*figure.texts, *(text for legend in legends for text in legend.get_texts())]:
        if text.get_text():
            found.append(
                (text.get_text(), text.get_fontsize(), text.get_window_extent().extents / figure.dpi)
            )
    return found


@pytest.mark.parametrize("name", INSTRUMENTS)
def test_everything_is_on_the_page_and_nothing_on_anything_else(name):
    figure = draw(card_of(name))
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
        assert across <= 0.01 or up <= 0.015, (one, other)


def test_targets_beats_and_order_are_all_there():
    card = card_of("e9-ten-string", "demo-soft-cabinet")
    words = [words for words, _, _ in boxes(draw(card))]

    for target in card.chart.targets:
        assert f"{target.hz:.2f}" in words
    assert words.count("open") == 1
    for number in range(1, len(card.order.steps) + 1):
        assert str(number) in words
    assert sum(grip.name in words for grip in card.grips) == len(card.grips) == 10


def test_beats_and_steps_as_numbers():
    """In equal temperament, by hand: B3 to E4 is 3 * 329.63 - 4 * 246.94 = 1.12: 11 beats in 10 seconds."""
    card = replace(card_of("e9-ten-string"), temperament=presets.temperament("equal"))
    plan = tuning_order(card.instrument, card.temperament, card.drop, 440.0)
    words = [words for words, _, _ in boxes(draw(replace(card, order=plan)))]

    assert any("5–4 +11" in each for each in words)
    moves = [(step.count.split()[-2], step.beats_per_second, str(step.ratio)) for step in plan.steps]
    expected = [
        f"{ratio} {abs(round(rate * 10))} {'up' if move == 'raise' else 'down'}"
        for move, rate, ratio in moves
        if round(rate * 10)
    ]
    assert expected
    assert set(expected) <= set(words)


def test_beats_double_in_an_octave_along_the_neck():
    """By hand: E4 to G#4 in equal temperament beats 4 * 415.305 - 5 * 329.628 = 13.08; twice at fret 12."""
    rig = presets.instrument("e9-ten-string")
    whole = rig.grip("E major 3-4-5")
    third = replace(whole, strings=(3, 4), roles=whole.roles[:2], ratios=whole.ratios[:2])
    card = replace(card_of("e9-ten-string"), temperament=presets.temperament("equal"), grips=(third,))
    (line,) = draw(card).axes[0].get_lines()

    frets, rates = line.get_data()
    assert line.get_label() == "open: 4–3, 5:4 wide"
    assert frets.tolist() == list(range(16))
    assert rates[0] == pytest.approx(4 * 415.30470 - 5 * 329.62756, abs=1e-3)
    assert rates[12] == pytest.approx(2 * rates[0])


@pytest.fixture
def my_e9():
    save_temperament(temper(scene("e9-dance-band")).temperament("my-e9"))


def test_a_pdf_of_one_page_whose_type_can_be_searched(tonegen, my_e9, tmp_path):
    path = tmp_path / "card.pdf"
    ended = tonegen(f"tonegen chart --instrument e9-ten-string --temperament my-e9 --out {path}")

    assert (ended.code, ended.err) == (0, "")
    assert str(path) in ended.out
    told = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
    assert re.search(r"Pages: +1\n", told)
    assert "(A4)" in told
    text = subprocess.run(
        ["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "my-e9" in text
    assert "330.37" in text
    assert "Beats along the neck" in text


def test_an_svg_is_well_formed_and_a_png_black_on_white(tonegen, my_e9, tmp_path):
    for ending in ("svg", "png"):
        path = tmp_path / f"card.{ending}"
        assert tonegen(f"tonegen chart --instrument e9-ten-string --out {path}").code == 0
    svg = ElementTree.parse(tmp_path / "card.svg").getroot()
    assert svg.tag.endswith("svg")
    assert "Beats along the neck" in "".join(svg.itertext())
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
