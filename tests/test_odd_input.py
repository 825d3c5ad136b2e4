"""What nobody types on purpose: one line that says what to do, never a traceback, a wait or a full memory."""

import os
import subprocess
import sys

import pytest

from tests.ear.test_history import answer_some
from tests.page.song import song
from tonegen.cli.plain import in_ascii
from tonegen.ear.history import FILE_NAME, History, login_name

DIGITS = "9" * 5000
LONG = "a" * 300
E9 = "--instrument e9-ten-string"
START = [sys.executable, "-c", "from tonegen.cli import main; main()"]


def started(line, environment=None, **how):
    """The program in a process of its own, whose output is left as bytes."""
    settings = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    return subprocess.run(
        [*START, *line], env={**settings, **(environment or {})}, capture_output=True, timeout=60, **how
    )


@pytest.fixture
def pipe(tmp_path):
    path = tmp_path / "pipe.syx"
    os.mkfifo(path)
    return path


@pytest.mark.parametrize("read", ["keys file {} out.mid --receiver mpe", f"drop {{}} {E9}"])
def test_a_device_or_a_pipe_is_no_file(tonegen, pipe, read):
    for path in ("/dev/zero", pipe):
        assert "is a device or a pipe; give a file" in tonegen.refused(f"tonegen {read.format(path)}")


def test_a_tuning_dump_is_a_small_file(tonegen, tmp_path, pipe):
    """A bulk dump of the MIDI Tuning Standard has 408 bytes."""
    large = tmp_path / "large.syx"
    with large.open("wb") as file:
        file.truncate(10_000_000_000)  # of which the disk holds nothing
    line = "tonegen keys plan --receiver mpe --temperament"
    assert "larger than a megabyte; that is not a tuning dump" in tonegen.refused(f"{line} {large}")
    assert "is a device or a pipe" in tonegen.refused(f"{line} {pipe}")


@pytest.mark.parametrize("line", ["keys file {} out.mid --receiver mpe", f"drop {{}} {E9}",
                                  "keys plan --receiver mpe --temperament {}"])  # fmt: skip
def test_what_cannot_be_read_is_said(tonegen, tmp_path, line):
    folder = tmp_path / "folder.syx"
    folder.mkdir()
    assert "is a directory" in tonegen.refused(f"tonegen {line.format(folder)}")
    assert "no such file" in tonegen.refused(f"tonegen {line.format(tmp_path / 'none.syx')}")
    assert "file name too long" in tonegen.refused(f"tonegen {line.format(LONG + '.syx')}")


@pytest.mark.parametrize("heading", ['string,"changes,cents', '"string,changes,cents\n8,,3'])
def test_a_heading_with_an_open_quote(tonegen, tmp_path, heading):
    path = tmp_path / "readings.csv"
    path.write_text(f"{heading}\n8,A,2\n")
    assert "line 1: cannot be split" in tonegen.refused(f"tonegen drop {path} {E9}")


@pytest.mark.parametrize("meter", ["1e-300", "1e-9", "0", "nan", "inf", "-1"])
def test_a_meter_that_cannot_be(tonegen, tmp_path, meter):
    path = tmp_path / "readings.csv"
    path.write_text("string,changes,cents\n8,,3\n8,A,2\n")
    assert "give 0.001 to 100" in tonegen.refused(f"tonegen drop {path} {E9} --meter={meter}")


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("stiffness", "1e308", "stiffness 1e+308 is out of range"),
        ("stiffness", "-1.0", "stiffness -1 is out of range"),
        ("stiffness", "nan", "stiffness nan is out of range"),
        ("multiples", "[1e308]", "partial multiple 1e+308 is out of range"),
        ("multiples", "[inf]", "partial multiple inf"),
        ("decay_db_per_second", "1e308", "decay 1e+308"),
        ("phases_turns", "[nan]", "phases of a timbre must be finite"),
        ("stiffness", DIGITS, "a value is nested too deep or too large"),
        ("levels_db", "[1e308]", "levels_db"),
    ],
)  # fmt: skip
def test_a_number_in_a_timbre_that_cannot_be(tonegen, tmp_path, field, value, message):
    fields = {"title": '"x"', "levels_db": "[0.0]", field: value}
    path = tmp_path / "timbre.toml"
    path.write_text("\n".join(f"{name} = {value}" for name, value in fields.items()))
    assert message in tonegen.refused(f"tonegen beats --low A3 --high C#4 --timbre {path}")


NUMBERS = [
    "beats --low {} --high A3", "beats --low A{} --high A3", "beats --low A3 --high A3+{}",
    "beats --low A3 --high {}c", "beats --low A3 --high C4 --ratio {}:4", "beats --hz {},2",
    f"beats {E9} --grip {{}}", f"beats {E9} --grip 3,4 --fret {{}}",
    "beats --low A3 --high C4 --reference {}",
    f"beats {E9} --grip 3,4 --changes A:{{}}", "beats --low A3 --high C4 --root {}",
    "count --beats {} --seconds 1 --low A3 --ratio 5:4", "count --beats 3 --seconds {} --low A3 --ratio 5:4",
    "render out.wav --hz 220 --sample-rate {}", "render out.wav --hz 220 --seconds {}",
    "render out.wav --hz 220 --level {}", "render out.wav --hz 220 --bits {}",
    "play --hz 220 --block {}", "play --hz 220 --sample-rate {}", "page --no-browser --port {}",
    "page --no-browser --block {}", "ear train purer --trials {}", "ear lesson --step {}",
    f"keys plan --receiver mpe {E9} --fret {{}}", "keys plan --receiver mpe --reference {}",
    f"keys plan --receiver mpe {E9} --weight x={{}}",
]  # fmt: skip


@pytest.mark.parametrize("line", NUMBERS)
@pytest.mark.parametrize("number", [DIGITS, f"-{DIGITS}", "nan", "-1e400", LONG], ids=lambda text: text[:6])
def test_a_number_of_any_length_is_refused_in_a_line_that_can_be_read(tonegen, line, number):
    assert len(tonegen.refused(f"tonegen {line.format(number)}")) < 300


@pytest.mark.parametrize("block", ["-5", "16385"])
def test_the_page_refuses_a_block_that_cannot_be(tonegen, block):
    assert f"a block of {block} frames" in tonegen.refused(f"tonegen page --no-browser --block={block}")


NAMES = [
    "keys send --receiver mpe --out {}", "keys send --receiver mpe --virtual-out {}",
    "keys through --receiver mpe --in {} --out x", "keys through --receiver mpe --virtual-in {} --out x",
    "keys reset --receiver mpe --out {}", "play --hz 220 --device {}", "page --no-browser --device {}",
    "ear train purer --no-sound --person {}", "ear history --person {}", "order e9-dance-band --device {}",
]  # fmt: skip


@pytest.mark.parametrize("line", NAMES)
def test_a_name_that_is_no_text(tonegen, line):
    """As Python has an argument of the bytes FF FE."""
    assert "is not UTF-8 text" in tonegen.refused(f"tonegen {line.format(chr(0xDCFF) + chr(0xDCFE))}")


def test_a_file_whose_name_is_no_text_is_written(tmp_path):
    target = tmp_path / os.fsdecode(b"\xff.wav")
    for in_json in ([], ["--json", "--force"]):
        done = started(["render", target, "--hz", "220", "--seconds", "0.1", *in_json])
        assert (done.returncode, done.stderr) == (0, b"")
    assert target.exists()


WRITES = [
    "render {}.wav --hz 220 --seconds 0.1", "keys file song.mid {}.mid --receiver mpe",
    "keys send --receiver mts-bulk --out-syx {}.syx", f"chart {E9} --out {{}}.pdf",
    "temper e9-dance-band --front-out {}.pdf", "ear history --csv {}.csv",
]  # fmt: skip


@pytest.mark.parametrize("line", WRITES)
def test_a_name_too_long_to_write_under_is_said_of_that_file(
    tonegen, own_folder, tmp_path, monkeypatch, line
):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "song.mid").write_bytes(song())
    with History(own_folder / FILE_NAME) as history:
        answer_some(history, login_name(), 6)
    why = tonegen.refused(f"tonegen {line.format(LONG)}")
    assert why.startswith(f"{LONG[:40]}...")
    assert "cannot be written: file name too long" in why.lower()


@pytest.mark.parametrize("line", [["ear", "lesson"], ["ear", "train", "purer"], ["list"]])
def test_a_closed_stdin(line):
    done = started(line, preexec_fn=lambda: os.close(0))
    assert b"Traceback" not in done.stderr
    if line != ["list"]:
        assert (done.returncode, done.stdout, done.stderr.count(b"\n")) == (2, b"", 1)
        assert b"needs a terminal" in done.stderr


PRINTS = [
    "list", "beats --low A3 --high C#4", "beats --hz 220,275.01,331", f"chart {E9} --drop demo-soft-cabinet",
    "count --beats 7 --seconds 10 --low A3 --ratio 5:4", "temper e9-dance-band", "order e9-dance-band",
    "compare equal quarter-comma-meantone --scene e9-dance-band",
    "keys plan --receiver mpe", "keys ports", "ear history", "--help",
]  # fmt: skip


@pytest.mark.parametrize(
    ("line", "encoding"),
    [*((line, "ascii") for line in PRINTS), (PRINTS[1], "latin-1"), (PRINTS[1], "cp437")],
)
def test_every_command_prints_in_ascii_where_the_terminal_takes_no_more(tonegen, line, encoding):
    usual = tonegen(f"tonegen {line}")
    plain = started(line.split(), {"PYTHONIOENCODING": encoding})
    assert (plain.returncode, b"Traceback" in plain.stderr) == (usual.code, False)
    rows, usual_rows = plain.stdout.decode("ascii").splitlines(), usual.out.splitlines()
    assert rows == [in_ascii(row) for row in usual_rows]
    assert [len(row) for row in rows] == [len(row) for row in usual_rows]


def test_without_a_locale(tmp_path):
    """LANG=C, which Python otherwise takes for UTF-8."""
    bare = {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0", "XDG_CONFIG_HOME": str(tmp_path)}
    done = started(["beats", "--low", "A3", "--high", "C#4"], bare)
    assert done.returncode == 0
    assert "A3-C#4" in done.stdout.decode("ascii")


def test_json_keeps_every_name_whole_in_ascii(tmp_path):
    (tmp_path / "é.toml").write_text('title = "é♯"\nsource = "i"\nroot = "A"\nstrings = [{ open = "A3" }]\n')
    done = started(
        ["chart", "--instrument", str(tmp_path / "é.toml"), "--json"], {"PYTHONIOENCODING": "ascii"}
    )
    assert done.returncode == 0, done.stderr
    assert b"\\u00e9" in done.stdout
