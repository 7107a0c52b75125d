from __future__ import annotations

import fcntl
import os
import subprocess
import sys

import pytest

from harness.drivers.locks import ResourceLock, lock_path
from harness.errors import OpenFailed, ResourceBusy


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))


def test_the_second_owner_is_told_which_process_holds_it():
    lock = ResourceLock("TCPIP::192.0.2.1::5025::SOCKET")
    with pytest.raises(ResourceBusy, match=f"held by process {os.getpid()} .*end that process first") as caught:
        ResourceLock("tcpip::192.0.2.1::5025::socket")
    assert caught.value.address == "tcpip::192.0.2.1::5025::socket"
    lock.release()
    lock.release()
    ResourceLock("TCPIP::192.0.2.1::5025::SOCKET").release()


def test_another_process_holds_it_until_it_dies(tmp_path):
    code = (
        "import sys, tempfile; tempfile.tempdir = sys.argv[1]\n"
        "from harness.drivers.locks import ResourceLock\n"
        "lock = ResourceLock('/dev/port'); print('held', flush=True); sys.stdin.read()"
    )
    command = [sys.executable, "-c", code, str(tmp_path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == b"held\n"
        with pytest.raises(ResourceBusy, match=f"held by process {child.pid} "):
            ResourceLock("/dev/port")
        child.kill()
    ResourceLock("/dev/port").release()


def test_a_released_lock_leaves_no_file():
    lock = ResourceLock("x")
    assert lock.path.read_text() == f"{os.getpid()}\n"
    lock.release()
    assert not lock.path.exists()


@pytest.mark.parametrize("replaced", [False, True])
def test_a_file_removed_by_the_last_owner_locks_nothing(monkeypatch, replaced):
    # The last owner goes between our opening and our locking; perhaps a third one has come already and gone.
    real = fcntl.flock
    raced = []

    def flock(fd, how):
        if not raced:
            raced.append(1)
            lock_path("x").unlink()
            if replaced:
                lock_path("x").touch()
        real(fd, how)

    monkeypatch.setattr("harness.drivers.locks.fcntl.flock", flock)
    lock = ResourceLock("x")
    with pytest.raises(ResourceBusy, match=f"held by process {os.getpid()} "):
        ResourceLock("x")
    lock.release()


def test_a_port_is_one_resource_under_all_its_names(tmp_path):
    (tmp_path / "port").touch()
    (tmp_path / "by-id").symlink_to(tmp_path / "port")
    assert lock_path(str(tmp_path / "by-id")) == lock_path(str(tmp_path / "port"))
    assert lock_path("/dev/ttyA") != lock_path("/dev/ttyB")


def test_the_lock_file_of_another_user_is_locked_all_the_same(monkeypatch):
    lock_path("x").touch()
    real_open = os.open

    def refuse_writing(path, flags, mode=0o777):
        if flags & os.O_RDWR:
            raise PermissionError(13, "Permission denied")
        return real_open(path, flags, mode)

    monkeypatch.setattr("harness.drivers.locks.os.open", refuse_writing)
    lock = ResourceLock("x")
    with pytest.raises(ResourceBusy, match="held by process unknown"):
        ResourceLock("x")
    lock.release()


def test_a_lock_file_that_cannot_be_opened_is_said():
    path = lock_path("x")
    path.symlink_to("/nowhere/else")
    with pytest.raises(OpenFailed, match=r"lock file .* cannot be opened: .*remove it or check its owner"):
        ResourceLock("x")
