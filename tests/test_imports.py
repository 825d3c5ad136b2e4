"""Imports run one way: the core knows no file, no device and nobody who uses it."""

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

CORE = (
    "pitch", "interval", "wire", "instrument", "temperament", "sounding", "copedent", "synthesis.timbre",
    "synthesis.bank",
)  # fmt: skip
DEVICES_AND_FILES = {"msgspec", "tomllib", "sounddevice", "soundfile", "mido", "rtmidi", "pythonosc", "click"}


@pytest.mark.parametrize("module", CORE)
def test_the_core_opens_no_device_and_reads_no_file(module):
    code = f"import sys, tonegen.{module}; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert DEVICES_AND_FILES.isdisjoint(done.stdout.split())


ROOT = Path(__file__).parents[1]
MODULE_OF = {"python-rtmidi": "rtmidi", "python-osc": "pythonosc"}
BY_OTHERS = {"websockets"}  # uvicorn's


def test_what_is_imported_is_declared_and_what_is_declared_is_imported():
    trees = [ast.parse(file.read_text()) for file in (ROOT / "tonegen").rglob("*.py")]
    nodes = [node for tree in trees for node in ast.walk(tree)]
    names = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module for node in nodes if isinstance(node, ast.ImportFrom) and node.module}
    imported = {name.partition(".")[0] for name in names} - sys.stdlib_module_names - {"tonegen"}

    lines = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["dependencies"]
    declared = {re.match(r"[\w-]+", line)[0] for line in lines}
    assert imported == {MODULE_OF.get(name, name) for name in declared - BY_OTHERS}
