"""How long a scene takes, and how that grows with its grips."""

import time
from dataclasses import replace

import numpy as np
import pytest

from tests import rigs
from tonegen.tempering.scene import BandPart
from tonegen.tempering.temper import Objective, temper
from tonegen.tempering.tradeoff import front_of


@pytest.mark.parametrize("objective", Objective)
def test_large_scene(benchmark, objective):
    """12 strings, 12 changes, 60 grips: the aim is 0.2 s."""
    scene = rigs.large_scene(60)
    solved = benchmark(lambda: temper(scene, objective))
    assert solved.residual < 1e-7


@pytest.mark.parametrize("objective", Objective)
def test_front_of_a_large_scene(benchmark, objective):
    """25 points of the front; the aim is 3 s."""
    scene = replace(rigs.large_scene(60, seed=5), band=(BandPart("keys", False, strings=(1, 2, 3, 4)),))
    front = benchmark.pedantic(lambda: front_of(scene, objective), rounds=2)
    assert len(front.points) == 25


@pytest.mark.parametrize("objective", Objective)
def test_growth_with_grips(benchmark, objective):
    """The slope of time over grips up to 2,000, on logarithmic scales: 1 is linear."""
    counts = [250, 500, 1000, 2000]
    scenes = [rigs.large_scene(count) for count in counts]

    def measured():
        seconds = []
        for scene in scenes:
            start = time.perf_counter()
            temper(scene, objective)
            seconds.append(time.perf_counter() - start)
        return seconds

    seconds = benchmark.pedantic(measured, rounds=1, warmup_rounds=1)
    slope = np.polyfit(np.log(counts), np.log(seconds), 1)[0]
    benchmark.extra_info["slope"] = round(float(slope), 2)
    benchmark.extra_info["seconds"] = [round(each, 3) for each in seconds]
    assert len(seconds) == len(counts)
