"""How long the program takes to start, beside an interpreter and beside numpy, in the same run.

python -m pytest tests/benchmarks/test_start.py --benchmark-enable -s
"""

import os
import subprocess
import sys
import time

import pytest

# A user's copy has its modules compiled; a checkout may be told not to write them.
ENVIRONMENT = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
TONEGEN = "import sys; sys.argv[0] = 'tonegen'; from tonegen.cli import main; main()"


def start(code: str, *arguments: str) -> float:
    """Seconds from the start of an interpreter to its end."""
    begin = time.perf_counter()
    subprocess.run(
        [sys.executable, "-c", code, *arguments], env=ENVIRONMENT, check=True, stdout=subprocess.DEVNULL
    )
    return time.perf_counter() - begin


def quickest(times: int, *programs: tuple[str, ...]) -> list[float]:
    """The quickest of so many starts of each, taken in turn, so that a busy machine is busy for all."""
    taken = [[start(*program) for program in programs] for _ in range(1 + times)]
    return [min(each) for each in zip(*taken[1:], strict=True)]  # the first fills the caches


@pytest.mark.benchmark(group="start")
def test_help_and_beats_start_quickly(benchmark):
    """The aims: help within 0.15 s of the interpreter's own start, beats within twice numpy's."""
    bare, numpy, overview, in_json, grip = quickest(
        15 if benchmark.enabled else 1,
        ("pass",),
        ("import numpy",),
        (TONEGEN, "--help"),
        (TONEGEN, "beats", "--low", "A3", "--high", "C#4", "--json"),
        (TONEGEN, "beats", "--instrument", "e9-ten-string", "--changes", "A,B", "--grip", "3,4,5"),
    )
    benchmark.extra_info.update(
        help_over_interpreter_seconds=overview - bare,
        beats_in_json_over_numpy=in_json / numpy,
        beats_of_a_grip_as_a_table_over_numpy=grip / numpy,
    )
    print(f"\nhelp: {overview - bare:.3f} s over the interpreter")
    print(f"beats: {in_json / numpy:.2f} times numpy in JSON, {grip / numpy:.2f} for a grip as a table")
    benchmark.pedantic(start, args=("import numpy",), rounds=1)
