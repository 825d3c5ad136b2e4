"""The wheel works outside the checkout: its presets travel inside it."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """A folder that holds nothing but the installed wheel."""
    folder = tmp_path_factory.mktemp("installed")
    pip = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check"]
    wheel = [*pip, "wheel", "--no-deps", "--no-build-isolation", "-w", str(folder), str(ROOT)]
    subprocess.run(wheel, check=True)
    (built,) = folder.glob("*.whl")
    subprocess.run([*pip, "install", "--no-deps", "--target", str(folder / "site"), str(built)], check=True)
    return folder / "site"


def tonegen(installed: Path, cwd: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(installed / "bin" / "tonegen"), *arguments],
        cwd=cwd, env={**os.environ, "PYTHONPATH": str(installed)}, capture_output=True, text=True,
    )  # fmt: skip


def test_an_installed_copy_knows_its_presets_and_renders(installed, tmp_path):
    where = [sys.executable, "-c", "import tonegen; print(tonegen.__file__)"]
    env = {**os.environ, "PYTHONPATH": str(installed)}
    loaded = subprocess.run(where, cwd=tmp_path, env=env, capture_output=True, text=True, check=True)
    assert Path(loaded.stdout.strip()).is_relative_to(installed)

    listed = tonegen(installed, tmp_path, "list", "instruments")
    grip = ["--instrument", "e9-ten-string", "--changes", "A,B", "--grip", "3,4,5"]
    rendered = tonegen(installed, tmp_path, "render", "out.wav", *grip, "--seconds", "1")

    assert "e9-ten-string" in listed.stdout
    assert (rendered.returncode, rendered.stderr) == (0, "")
    assert (tmp_path / "out.wav").stat().st_size > 48_000


def test_it_carries_the_scripts_of_every_part_of_the_page(installed):
    scripts = [file.relative_to(ROOT) for file in (ROOT / "tonegen" / "page").glob("*/*.js")]
    assert len({file.parent for file in scripts}) > 10
    for file in scripts:
        assert (installed / file).read_bytes() == (ROOT / file).read_bytes()


def test_its_errors_are_one_line_and_its_version_is_known(installed, tmp_path):
    wrong = tonegen(installed, tmp_path, "beats", "--low", "H3", "--high", "C4")
    assert (wrong.returncode, wrong.stderr.count("\n")) == (2, 1)
    assert tonegen(installed, tmp_path, "--version").stdout.startswith("tonegen ")


def test_a_reader_that_goes_away_is_no_fault(installed, tmp_path):
    """tonegen list | true: nothing is said about the broken pipe."""
    env = {**os.environ, "PYTHONPATH": str(installed)}
    line = f"'{installed}/bin/tonegen' list --json | true"
    ended = subprocess.run(["bash", "-c", line], cwd=tmp_path, env=env, capture_output=True, text=True)
    assert (ended.returncode, ended.stderr) == (0, "")
