"""How soon the next stimulus is ready at the page, from the answer on the wire, as a share of 50 ms.

python -m pytest tests/benchmarks/test_page_ears.py --benchmark-enable -s
"""

import time
from statistics import median

import pytest

from tests.page.running import RunningPage

ALLOWED_SECONDS = 0.05
LISTENED_SECONDS = 0.25  # far less than a trial lasts: what can come next is rendered meanwhile
ANSWERS = {"set": {"do": "settle", "cents": 1.0}, "rate": {"do": "taps", "times_ms": [0, 400, 800, 1200]}}


@pytest.mark.benchmark(group="ear")
@pytest.mark.parametrize("bed", ["none", "noise"])
@pytest.mark.parametrize("kind", ["purer", "abx", "set", "rate"])
def test_the_next_stimulus_is_ready_at_the_page(benchmark, tmp_path, kind, bed):
    trials = 21 if benchmark.enabled else 3
    taken: list[float] = []

    def session():
        with RunningPage(tmp_path / "own") as running, running.page() as page:
            begin = 0.0
            page.ask("train", kind=kind, person="Ada", trials=trials, bed=bed, feedback=False)
            for number in range(trials):
                page.shown("ears", lambda shown, at=number: shown["asked"] and shown["asked"]["number"] == at)
                if number:
                    taken.append(time.perf_counter() - begin)
                time.sleep(LISTENED_SECONDS)
                begin = time.perf_counter()
                page.ask(**{"number": number, **ANSWERS.get(kind, {"do": "answer", "choice": number % 2})})

    benchmark.pedantic(session, rounds=1)
    benchmark.extra_info.update(
        median_share_of_50_ms=median(taken) / ALLOWED_SECONDS,
        worst_share_of_50_ms=max(taken) / ALLOWED_SECONDS,
    )
    print(f"\n{kind}, {bed}: median {1000 * median(taken):.1f} ms, worst {1000 * max(taken):.1f} ms")
    assert len(taken) == trials - 1
