"""How long a whole evening takes to check, beside the start of an interpreter with numpy.

python -m pytest tests/benchmarks/test_set_check.py --benchmark-enable -s
"""

import pytest

from tests.benchmarks.test_start import TONEGEN, quickest

RECEIVERS = ("twelve-channel-bend", "mts-octave", "mts-single-note", "mpe", "channel-tuning", "osc-per-key")
NOTES = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
SONGS = 40


def evening() -> str:
    """Forty songs in all keys, six receivers of as many means, half of which follow the steel."""
    rows = ['title = "Invented"', 'instrument = "e9-ten-string"', 'temperament = "five-limit-just"']
    for at, name in enumerate(RECEIVERS):
        where = f'to = "127.0.0.1:{9000 + at}"' if "osc" in name else f'port = "Port {at}"'
        follows = "steel" if at % 2 else "quarter-comma-meantone on key"
        rows.append(f'[[receivers]]\nname = "{name}"\nreceiver = "{name}"\n{where}\nfollows = "{follows}"')
    for at in range(SONGS):
        rows.append(f'[[songs]]\nname = "Song {at}"\nkey = "{NOTES[at * 7 % 12]}"')
        rows.append(f'[[songs.sends]]\nto = "mts-octave"\nprogram = {at + 1}')
    return "\n".join(rows)


@pytest.mark.benchmark(group="set")
def test_forty_songs_and_six_receivers_are_checked_in_under_a_second(benchmark, tmp_path):
    path = tmp_path / "evening.toml"
    path.write_text(evening())
    numpy, check = quickest(
        5 if benchmark.enabled else 1, ("import numpy",), (TONEGEN, "set", "check", str(path), "--json")
    )
    benchmark.extra_info.update(check_over_numpy=check / numpy, check_seconds=check)
    print(f"\nset check: {check:.2f} s, {check / numpy:.1f} times an interpreter with numpy")
    benchmark.pedantic(lambda: None, rounds=1)
