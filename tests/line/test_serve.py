"""`gainladder line`: what is refused before a page is served, and a page that is served and closed."""

from __future__ import annotations

import contextlib
import os
import socket
import sys

import pytest

from harness.drivers import ResourceLock
from harness.errors import ConfigError, UsageError
from harness.line import serve as serving
from harness.line.folder import Place
from harness.line.serve import bound, opened, serve
from tests.line.conftest import UNIT, write_place
from tests.production_job import CONFIGS, PRODUCTION

REAL = f'bench = "{CONFIGS}/benches/lan-and-serial.toml"'


def refusal(path, **named):
    with pytest.raises((UsageError, ConfigError)) as refused, opened(path, **named):
        pass
    return str(refused.value)


def test_a_job_without_production_is_refused(tmp_path):
    assert "no [production]" in refusal(write_place(tmp_path, production=""))


def test_every_problem_of_every_file_is_said(tmp_path):
    path = write_place(tmp_path, production=PRODUCTION.replace("golden_runs = 3", "golden_runs = 1"))
    assert "production.golden_runs" in refusal(path)
    assert "line.toml: job: got nothing" in refusal(_edited(path, 'job = "job.toml"', ""))
    assert "language: got 'xx'" in refusal(write_place(tmp_path), language="xx")


def _edited(path, old, new):
    with open(path) as file:
        text = file.read()
    assert old in text
    with open(path, "w") as file:
        file.write(text.replace(old, new))
    return path


@pytest.mark.parametrize(
    ("token", "mode", "words"),
    [
        (None, 0o600, "cannot be read"), ("x" * 15, 0o600, "15 characters"),
        ("x" * 20, 0o644, "others may read it (mode 644)"),
        ("x" * 9 + " " + "x" * 9, 0o600, "or spaces in it"), ("ä" * 20, 0o600, "cannot be read"),
    ],
)  # fmt: skip
def test_a_token_file_that_is_none(tmp_path, token, mode, words):
    path = write_place(tmp_path, more='host = "0.0.0.0"\ntoken_file = "token"')
    if token is not None:
        (tmp_path / "token").write_text(token + "\n", encoding="utf-8")
        os.chmod(tmp_path / "token", mode)
    said = refusal(path)
    assert words in said
    assert "allowed: 16 characters or more, readable by its owner alone" in said


def test_a_page_is_served_once(tmp_path):
    path = write_place(tmp_path)
    lock = ResourceLock(Place.of(str(tmp_path / "pages"), "place 1").lock)
    try:
        assert "the page of place 1 is served already" in refusal(path)
    finally:
        lock.release()


def test_faults_are_for_a_simulated_bench(tmp_path):
    path = write_place(tmp_path)
    _edited(str(tmp_path / "job.toml"), f'bench = "{CONFIGS}/benches/simulated.toml"', REAL)
    assert "describes a real one" in refusal(path, seed=1)
    assert "describes a real one" in refusal(path, faults_path="x.toml")


@pytest.mark.parametrize(
    ("text", "words"),
    [(None, "No such file"), ("{", "allowed: TOML"), (f"{UNIT} = 1", "a list of faults as for --fault")],
)
def test_a_file_of_faults_that_is_none(tmp_path, text, words):
    if text is not None:
        (tmp_path / "f.toml").write_text(text)
    path = write_place(tmp_path)
    with pytest.raises(UsageError, match=words), opened(path, faults_path=str(tmp_path / "f.toml")) as place:
        place.station._hands.faults_of(UNIT)


def test_an_address_that_cannot_be_had():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(UsageError, match=f"127.0.0.1:{port}: cannot be served: .*; change host or port"):
            bound("127.0.0.1", port)
    with bound("::1", 0) if socket.has_ipv6 else contextlib.nullcontext() as sock:
        assert sock is None or sock.family is socket.AF_INET6


def test_without_the_extra_the_command_says_what_to_install(gainladder, monkeypatch):
    monkeypatch.setitem(sys.modules, "harness.line.serve", None)
    monkeypatch.setattr("builtins.__import__", _without("uvicorn"))
    ended = gainladder("line", "configs/lines/end-of-test.toml")
    assert ended.code == 2
    assert "uvicorn is not installed: pip install 'gainladder[line]'" in ended.err


def _without(missing):
    real = __import__

    def importing(name, *args, **named):
        if name == "harness.line.serve":
            raise ModuleNotFoundError(f"No module named {missing!r}", name=missing)
        return real(name, *args, **named)

    return importing


def test_a_page_is_served_and_closed(tmp_path, monkeypatch, capsys):
    """It says where, warns where it can be reached from outside, and tells the bench first when it is closed."""
    (tmp_path / "token").write_text("x" * 20)
    os.chmod(tmp_path / "token", 0o600)
    path = write_place(tmp_path, more='host = "0.0.0.0"\ntoken_file = "token"')
    order = []

    class Server(serving.uvicorn.Server):
        def run(self, sockets=None):
            assert not self.should_exit
            self.handle_exit(15, None)
            order.append(("should_exit", self.should_exit))

    monkeypatch.setattr(serving.uvicorn, "Server", Server)
    with opened(path) as place, bound("127.0.0.1", 0) as sock:
        monkeypatch.setattr(place.station, "stop_now", lambda: order.append("bench told"))
        port = sock.getsockname()[1]
        serve(place, sock)
    assert order == ["bench told", ("should_exit", True)]
    said = capsys.readouterr().err
    assert f"place 1: http://127.0.0.1:{port}/?token=..." in said
    assert "WARNING the page is served at 127.0.0.1, beyond this computer" in said
