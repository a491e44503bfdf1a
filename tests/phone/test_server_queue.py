"""The queue and its workers: photos that kill, hang or fill their worker; kills of the server itself."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from fitup.errors import StorageError, UsageError
from fitup.phone import measuring
from fitup.phone.measuring import MeasuringPool
from fitup.phone.shot import Shot, shot_id
from fitup.phone.shot_store import ShotStore
from fitup.phone.worker import Worker
from tests.phone.hard_work import own_limits, stay_until_told, work
from tests.phone.shop_app import settings_in

MEMORY = 3_000_000_000


def shot_of(name: str, digest: str = "ab" * 32, phone: str = "1") -> Shot:
    return Shot(
        id=shot_id(digest, "RT-40", name),
        digest=digest,
        job="RT-40",
        joint="J1",
        name=f"{name}.jpg",
        who="Ana",
        phone_id=phone,
        received_at_utc="2026-11-25T10:00:00+00:00",
    )


@pytest.fixture
def store(tmp_path: Path) -> Iterator[ShotStore]:
    opened = ShotStore(tmp_path / "state")
    yield opened
    opened.close()


class TestStore:
    def test_order_position_and_state_survive_the_program(self, tmp_path: Path) -> None:
        first = ShotStore(tmp_path)
        for name in ("a", "b", "c"):
            first.add(shot_of(name))
        taken = first.take_next()
        assert taken is not None
        assert taken.name == "a.jpg"
        assert [first.position(one) for one in first.open_shots()] == [0, 1, 2]
        first.close()  # while a was being measured
        second = ShotStore(tmp_path)
        again = second.take_next()
        assert again is not None
        assert (again.name, again.attempts) == ("a.jpg", 2)
        assert [one.name for one in second.open_shots()] == ["a.jpg", "b.jpg", "c.jpg"]
        second.close()

    def test_the_same_is_known(self, store: ShotStore) -> None:
        assert store.add(shot_of("a"))[1]
        known, fresh = store.add(shot_of("a", phone="2"))
        assert not fresh
        assert store.was_sent_by(known, "2")
        assert not store.was_sent_by(known, "3")
        assert len(store.of_phone("2")) == 1

    def test_a_failed_one_is_tried_again_and_a_retake_is_not(self, store: ShotStore) -> None:
        for code, fresh in ((6, True), (5, False), (2, False)):
            shot, _ = store.add(shot_of(f"code {code}"))
            store.change(shot.id, state="failed", code=code)
            assert store.add(shot_of(f"code {code}"))[1] is fresh

    def test_a_photo_stays_while_another_shot_of_it_waits(self, store: ShotStore) -> None:
        for name in ("a", "b"):
            arrived = store.new_file()
            arrived.write_bytes(b"photo")
            store.add(shot_of(name), arrived)
        digest = shot_of("a").digest
        store.change(shot_of("a").id, state="done", entry=1)
        store.drop_photo(digest)
        assert store.photo(digest).read_bytes() == b"photo"
        store.change(shot_of("b").id, state="done", entry=1)
        store.drop_photo(digest)
        assert not store.photo(digest).exists()

    def test_what_had_not_arrived_whole_is_cleared_away(self, tmp_path: Path) -> None:
        store = ShotStore(tmp_path)
        store.new_file().write_bytes(b"half")
        store.close()
        again = ShotStore(tmp_path)
        assert list(again.incoming.iterdir()) == []
        again.close()

    def test_two_servers_do_not_share_a_folder(self, store: ShotStore, tmp_path: Path) -> None:
        with pytest.raises(UsageError, match="another fitup serve"):
            ShotStore(tmp_path / "state")

    def test_a_damaged_queue_is_said(self, tmp_path: Path) -> None:
        (tmp_path / "shots.sqlite").write_bytes(b"no database at all" * 200)
        with pytest.raises(StorageError, match="cannot keep"):
            ShotStore(tmp_path)


class TestPool:
    def test_bad_photos_fail_alone_and_the_pool_goes_on(self, tmp_path: Path, store: ShotStore) -> None:
        told: list[str] = []
        settings = settings_in(tmp_path, measure_s_max=2.0, worker_bytes_max=MEMORY)
        pool = MeasuringPool(settings, store, told.append, work, None)
        names = ["fine", "dies", "hangs", "eats", "crashes", "retake", "wrong", "fine too"]
        shots = [store.add(shot_of(name))[0] for name in names]
        pool.start()
        ended = {shot.name: _ended(store, shot) for shot in shots}
        pool.stop()
        assert {name for name, shot in ended.items() if shot.state == "done"} == {"fine.jpg", "fine too.jpg"}
        sentences = {name.partition(".")[0]: shot.error for name, shot in ended.items()}
        assert "out of memory or broken" in sentences["dies"]
        assert "out of memory or broken" in sentences["eats"]
        assert "longer than 2 s" in sentences["hangs"]
        assert "ValueError" in sentences["crashes"]
        assert ended["wrong.jpg"].code == 2
        retake = ended["retake.jpg"]
        assert (retake.code, retake.reason, retake.remedy) == (5, "no target", "Lay it down.")
        assert set(told) == {shot.id for shot in shots}

    def test_an_archive_that_fails_for_a_while_costs_no_photo(
        self, tmp_path: Path, store: ShotStore, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(measuring, "_PAUSE_S", 0.05)
        pool = MeasuringPool(settings_in(tmp_path), store, lambda _: None, work, None)
        shots = []
        for name in ("unarchived once", "unarchived"):
            arrived = store.new_file()
            arrived.write_bytes(name.encode())
            shots.append(store.add(shot_of(name, digest=name.encode().hex().ljust(64, "0")), arrived)[0])
        pool.start()
        once, never = (_ended(store, shot) for shot in shots)
        pool.stop()
        assert (once.state, once.attempts) == ("done", 2)
        assert (never.state, never.code, never.attempts) == ("failed", 6, 3)
        assert store.photo(never.digest).is_file()
        again = store.again(never.id)
        assert (again.state, again.attempts) == ("queued", 0)
        assert store.again(once.id).state == "done"

    def test_what_ends_the_whole_program_each_time_is_given_up(
        self, tmp_path: Path, store: ShotStore
    ) -> None:
        shot, _ = store.add(replace(shot_of("fine"), attempts=3))
        pool = MeasuringPool(settings_in(tmp_path), store, lambda _: None, work, None)
        pool.start()
        ended = _ended(store, shot)
        pool.stop()
        assert ended.state == "failed"
        assert "ended each time" in ended.error

    def test_stopped_work_is_no_fault_of_the_photo(self, tmp_path: Path) -> None:
        store = ShotStore(tmp_path / "queue")
        shot, _ = store.add(shot_of("hangs"))
        pool = MeasuringPool(settings_in(tmp_path), store, lambda _: None, work, None)
        pool.start()
        while (known := store.get(shot.id)) is None or known.stage != "measuring":
            time.sleep(0.02)
        pool.stop()
        store.close()
        again = ShotStore(tmp_path / "queue")
        assert [one.state for one in again.open_shots()] == ["queued"]
        again.close()


class TestWorker:
    def test_limits_hold_in_the_process(self) -> None:
        worker = Worker(MEMORY)
        try:
            assert worker.call(own_limits, limit_s=30) == (MEMORY, 1, "1")
        finally:
            worker.stop()

    def test_it_may_be_ended_from_another_thread(self) -> None:
        worker = Worker(MEMORY)
        with pytest.raises(StorageError, match="ended over it"):
            worker.call(stay_until_told, 60.0, limit_s=60, told=lambda pid: os.kill(pid, signal.SIGKILL))
        assert worker.pid is None
        assert worker.call(own_limits, limit_s=30)[1] == 1  # a new one came
        worker.stop()


def _ended(store: ShotStore, shot: Shot) -> Shot:
    end = time.monotonic() + 60
    while time.monotonic() < end:
        known = store.get(shot.id)
        if known is not None and not known.is_open:
            return known
        time.sleep(0.02)
    raise AssertionError(store.get(shot.id))
