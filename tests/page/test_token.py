"""The link that tablets in the network are let in by: the same after a restart, and nobody else's to read."""

import os
import stat

import pytest

from tests.page.running import free_port
from tonegen.page.token import kept_token


@pytest.fixture
def path(tmp_path):
    return tmp_path / "own" / "lan-token"


def test_a_token_is_kept_for_its_owner_alone(path):
    before = os.umask(0)
    try:
        token = kept_token(path)
    finally:
        os.umask(before)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert len(token) >= 22  # 128 bits in base64
    assert kept_token(path) == token


@pytest.mark.parametrize("mode", [0o644, 0o660, 0o606])
def test_one_that_others_could_read_is_not_used_any_more(path, mode):
    token = kept_token(path)
    path.chmod(mode)
    assert kept_token(path) != token
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


@pytest.mark.parametrize("content", [b"", b"short", b"x" * 5000, b"a token of 22 letters ", b"\xff" * 30])
def test_what_is_no_token_is_replaced(path, content):
    kept_token(path)
    path.write_bytes(content)
    token = kept_token(path)
    assert token.encode() != content
    assert kept_token(path) == token


def test_a_link_in_its_place_is_not_followed(path, tmp_path):
    path.parent.mkdir()
    (tmp_path / "elsewhere").write_text("mine")
    path.symlink_to(tmp_path / "elsewhere")
    token = kept_token(path)
    assert (tmp_path / "elsewhere").read_text() == "mine"
    assert path.read_text() == token


def test_started_again_the_page_lets_the_same_tablets_in(tonegen, monkeypatch, own_folder):
    """An address of this machine stands for that in its network."""
    let_in, links = [], []

    def serve(app, sockets, ready):
        for one in sockets:
            one.close()
        let_in.append(app.user_middleware[0].kwargs["token"])
        ready()

    monkeypatch.setattr("tonegen.page.server.lan_address", lambda: "127.0.0.2")
    monkeypatch.setattr("tonegen.page.server.serve", serve)
    for _ in range(2):
        ended = tonegen(f"tonegen page --lan --no-browser --port {free_port()}")
        assert ended.code == 0
        links.append(ended.out.splitlines()[0].partition("token=")[2])
        assert f"delete {own_folder / 'lan-token'}" in ended.out
    assert let_in == links
    assert len({*let_in}) == 1
