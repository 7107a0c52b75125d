"""Forwarding: everything arrives, nothing twice, whatever stops in between."""

from __future__ import annotations

import dataclasses
from contextlib import contextmanager

import pytest

from harness.errors import StoreError, StoreUnavailable, UsageError
from harness.store import Forwarder, Waiting, forward, open_store, targets, waiting_for
from harness.store.parcel import pack, unpack

COUNT = 11


@pytest.fixture(autouse=True)
def small_parcels(monkeypatch):
    monkeypatch.setattr(forward, "_PARCEL", 4)


@pytest.fixture
def local(tmp_path, clock, make_header, make_reading):
    """A station's journal with a run of eleven readings and a run that has just begun."""
    with open_store(str(tmp_path / "local.sqlite")) as store:
        recorder = store.begin(make_header("full"), clock)
        for index in range(COUNT):
            recorder.record(make_reading(index, samples=8))
            recorder.note("retry", f"line {index}")
        recorder.finish("finished", "all done")
        store.begin(make_header("begun"), clock)
        yield store


def require_same(local, target, is_same):
    assert target.check().faults == ()
    assert sorted(target.runs(), key=str) == sorted(local.runs(), key=str)
    for info in local.runs():
        run = info.header.run_id
        assert target.events(run) == local.events(run)
        pairs = zip(local.readings(run), target.readings(run), strict=True)
        assert all(is_same(left, right) for left, right in pairs)


def test_all_arrives_once(local, url, is_same):
    with Forwarder(local, url) as forwarder:
        assert forwarder.waiting() == Waiting(runs=2, readings=COUNT, events=COUNT + 1)
        assert forwarder.send() == Waiting(runs=2, readings=COUNT, events=COUNT + 1)
        assert forwarder.waiting() == Waiting()
        assert forwarder.send() == Waiting()
        assert forwarder.touched == {"full", "begun"}
        assert targets(local) == (forwarder.target,)
    with open_store(url) as target:
        require_same(local, target, is_same)


def test_a_run_that_goes_on_is_followed(local, url, is_same, clock, make_reading):
    with Forwarder(local, url) as forwarder, open_store(url) as target:
        recorder = local.resume("begun", clock)
        for index in range(3):
            recorder.record(make_reading(index, samples=8))
            sent = forwarder.send()
            assert (sent.runs, sent.readings) == (2 if index == 0 else 1, 1 + (COUNT if index == 0 else 0))
            require_same(local, target, is_same)
        recorder.finish("interrupted")
        forwarder.send()
        assert target.info("begun").end == "interrupted"
        recorder = local.resume("begun", clock)
        forwarder.send()
        assert target.info("begun").end == ""
        recorder.record(make_reading(3, samples=8))
        recorder.finish("finished")
        forwarder.send()
        require_same(local, target, is_same)


def test_what_is_there_is_not_sent_again(local, url, is_same):
    with Forwarder(local, url) as forwarder:
        forwarder.send()
        forwarder.compare_all()
        assert forwarder.waiting().readings == COUNT
        assert forwarder.send() == Waiting(runs=2)
    with open_store(url) as target:
        require_same(local, target, is_same)


class Cut(BaseException):
    """A death."""


@pytest.mark.parametrize("after", [False, True])
def test_a_death_at_any_moment(local, url, is_same, monkeypatch, after):
    # Before and after each transaction, of either store, that a forwarding makes; the next one goes on from there.
    left = [0]

    def cutting(method):
        @contextmanager
        def cut(self, doing):
            if "forward" not in doing:
                with method(self, doing) as connection:
                    yield connection
                return
            left[0] -= 1
            if left[0] == 0 and not after:
                raise Cut
            with method(self, doing) as connection:
                yield connection
            if left[0] == 0:
                raise Cut

        return cut

    for name in ("viewing", "changing"):
        monkeypatch.setattr(f"harness.store.store.Store.{name}", cutting(getattr(type(local), name)))
    deaths = 0
    for number in range(1, 100):
        left[0] = number
        with Forwarder(local, url) as forwarder:
            try:
                forwarder.send()
            except Cut:
                deaths += 1
                with open_store(url) as target:
                    assert target.check().faults == (), "half a run is a whole one, only shorter"
                continue
        break
    assert deaths > 5
    with open_store(url) as target:
        require_same(local, target, is_same)
    assert waiting_for(local, forwarder.target) == Waiting()


def test_two_stations_forward_to_one(local, url, is_same, tmp_path, clock, make_header, make_reading):
    with open_store(str(tmp_path / "second.sqlite")) as second:
        recorder = second.begin(make_header("of the second"), clock)
        with Forwarder(local, url) as one, Forwarder(second, url) as two:
            for index in range(3):
                recorder.record(make_reading(index, samples=8))
                one.send()
                two.send()
        with open_store(url) as target:
            assert {info.header.run_id for info in target.runs()} == {"full", "begun", "of the second"}
            assert target.check().faults == ()
            assert [one.index for one in target.readings("of the second")] == [0, 1, 2]


def test_another_run_of_the_same_name_is_refused(local, url, clock, make_header):
    with open_store(url) as target:
        target.begin(make_header("full", unit="B2"), clock)
        with Forwarder(local, url) as forwarder:
            words = "run full is there with another header: two stations have given the same id; nothing was forwarded"
            with pytest.raises(StoreError, match=words):
                forwarder.send()
        assert target.info("full").readings == 0


def test_another_reading_of_the_same_number_is_refused(local, url, clock, make_header, make_reading):
    with open_store(url) as target:
        recorder = target.begin(make_header("full"), clock)
        recorder.record(make_reading(2, samples=8, reason="another"))
        with local.viewing("test") as connection:
            parcel = pack(connection, 1, [1, 2], 0, 4)
        with (
            pytest.raises(StoreError, match="run full: reading 2 is there and is another one"),
            target.changing("x") as connection,
        ):
            unpack(connection, parcel, "there")
        assert target.info("full").readings == 1


def test_a_journal_that_has_grown_shorter_is_noticed(local, url):
    with Forwarder(local, url) as forwarder:
        forwarder.send()
    with local.viewing("test") as connection:
        parcel = dataclasses.replace(pack(connection, 1, [], 0, 4), events_before=50)
    with (
        open_store(url) as target,
        pytest.raises(StoreUnavailable, match=r"12 lines of its journal are left of 50: .*; forward again"),
        target.changing("x") as connection,
    ):
        unpack(connection, parcel, "there")


def test_a_store_is_not_forwarded_to_itself(local, tmp_path):
    with pytest.raises(UsageError, match="got the same store twice; allowed is to forward to another one"):
        Forwarder(local, str(tmp_path / "local.sqlite"))


def test_a_server_that_stops_in_the_middle(local, postgres_server, is_same, clock, make_reading, monkeypatch):
    postgres_server.sql("CREATE SCHEMA stopping")
    url = postgres_server.url("stopping")
    true = unpack

    def stopping(connection, parcel, place):
        true(connection, parcel, place)
        if parcel.readings and parcel.readings[-1]["reading"] == 7:
            monkeypatch.setattr(forward, "unpack", true)
            postgres_server.stop()

    monkeypatch.setattr(forward, "unpack", stopping)
    with Forwarder(local, url) as forwarder:
        try:
            with pytest.raises(StoreUnavailable, match="forwarding run full: the server"):
                forwarder.send()
            # Recording goes on; what waits is known without the server.
            recorder = local.resume("begun", clock)
            recorder.record(make_reading(0, samples=8))
            assert forwarder.waiting().readings == COUNT - 4 + 1
            with pytest.raises(StoreUnavailable, match="the server cannot be reached"):
                forwarder.send()
        finally:
            postgres_server.start()
        forwarder.send()
        assert forwarder.waiting() == Waiting()
    with open_store(url) as target:
        require_same(local, target, is_same)
