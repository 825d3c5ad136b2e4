"""The drawn trade-off: its words, its marks, black on white."""

import subprocess
import sys
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.image import imread

from tests import rigs
from tonegen.instrument import Instrument
from tonegen.paper.tradeoff import draw
from tonegen.presets.scenes import scene
from tonegen.tempering.scene import BandPart, Scene
from tonegen.tempering.temper import Objective, temper
from tonegen.tempering.tradeoff import front_of


def line(axes, label):
    (found,) = [each for each in axes.get_lines() if each.get_label() == label]
    return found.get_xydata()


@pytest.mark.parametrize("objective", Objective)
def test_chosen_is_on_the_curve_and_before_is_never_under_it(objective):
    front = front_of(scene("c6-swing-band"), objective)
    (axes,) = draw(front).axes
    curve = line(axes, "best possible")
    (chosen,) = line(axes, "chosen by the scene's weights")
    (before,) = line(axes, "before: equal")

    assert len(curve) == 25
    between = np.interp(chosen[0], curve[::-1, 0], curve[::-1, 1])
    assert chosen[1] == pytest.approx(between, abs=0.02 * np.ptp(curve[:, 1]))
    assert not ((curve > before + 1e-9).all(axis=1)).any()
    assert front.chosen.offsets_cents == pytest.approx(temper(front.scene, objective).offsets)


def test_before_by_hand():
    """Equal temperament against its own bass: none with the band; the fifth is 1.955 narrow."""
    rig = Instrument("pair", "", rigs.strings(55, 48))
    asked = Scene(
        "pair", rig, (rigs.wanted(rig, "C", {2: "1:1", 1: "3:2"}),), band=(BandPart("bass", plays_root=True),)
    )
    front = front_of(asked, Objective.WORST_CENTS)

    assert front.before == pytest.approx((1.955, 0.0), abs=5e-4)
    assert front.chosen.offsets_cents == pytest.approx(temper(asked, Objective.WORST_CENTS).offsets)


def test_every_word_is_on_the_page():
    figure = draw(front_of(scene("e9-dance-band")))
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    (axes,) = figure.axes
    words = [*axes.get_legend().get_texts(), axes.xaxis.label, axes.yaxis.label, figure._suptitle]

    for each in words:
        left, bottom, right, top = each.get_window_extent().extents / figure.dpi
        assert min(left, bottom) >= 0, each
        assert (right, top) <= tuple(figure.get_size_inches()), each
        assert each.get_fontsize() >= 10


def test_drawn_by_the_command_black_on_white(tonegen, tmp_path):
    for ending in ("svg", "pdf", "png"):
        path = tmp_path / f"front.{ending}"
        ended = tonegen(f"tonegen temper c6-swing-band --front-out {path}")
        assert (ended.code, ended.err) == (0, "")
        assert f"Written: {path}" in ended.out
    words = "".join(ElementTree.parse(tmp_path / "front.svg").getroot().itertext())
    for said in ("agrees with the band", "pure with itself", "beats a second", "before: equal", "chosen"):
        assert said in words
    assert (tmp_path / "front.pdf").read_bytes().startswith(b"%PDF")
    pixels = imread(tmp_path / "front.png")[..., :3]
    assert np.ptp(pixels, axis=2).max() < 0.01  # no colour
    assert pixels.min() < 0.05
    assert np.mean(pixels > 0.7) > 0.9


def test_a_picture_that_cannot_be_drawn_saves_nothing(tonegen, own_folder, tmp_path):
    there = tmp_path / "front.svg"
    there.write_text("mine")
    line = f"tonegen temper c6-swing-band --save my-c6 --front-out {there}"

    assert "already exists; give another name, or --force" in tonegen.refused(line)
    assert there.read_text() == "mine"
    assert "end its name in .pdf" in tonegen.refused(
        f"tonegen temper c6-swing-band --front-out {tmp_path}/x.gif"
    )
    assert not own_folder.exists()
    assert tonegen(f"{line} --force").code == 0
    assert there.read_text().startswith("<?xml")
    assert (own_folder / "temperaments" / "my-c6.toml").exists()


def test_front_marks_for_scripts(tonegen):
    result = tonegen("tonegen temper c6-swing-band --front --json").json

    assert set(result["front_before"]) == set(result["front_chosen"]) == {"self_error", "band_error"}
    assert result["front_before"]["band_error"] == pytest.approx(0, abs=1e-9)  # equal, with an equal band
    assert result["front_chosen"]["self_error"] < result["front_before"]["self_error"]


@pytest.mark.parametrize("ending", ["pdf", "svg", "png"])
def test_a_disk_that_is_full(tmp_path, ending):
    """The system refuses to write more than a few bytes of the picture."""
    path = tmp_path / f"front.{ending}"
    code = """
import resource, signal, sys
from tonegen.cli import main
import matplotlib.figure  # its own cache is written before
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
main()
"""
    arguments = ["temper", "c6-swing-band", "--front-out", str(path)]
    done = subprocess.run([sys.executable, "-B", "-c", code, *arguments], capture_output=True, text=True)

    assert done.returncode == 2
    assert done.stderr.startswith(f"tonegen: {path}: cannot be written: file too large; nothing was saved")
    assert done.stderr.count("\n") == 1
    assert list(tmp_path.glob("*front*")) == list(tmp_path.glob(".tonegen*")) == []
