"""The benchmark's section `phone`: from a photo sent to its verdict, ten phones at once, memory, errors."""

from __future__ import annotations

import contextlib
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from fitup.evidence.archive.archive import open_archive
from fitup.job import read_job
from fitup.phone import PhoneSettings, ServedJob
from fitup.phone.measuring import MeasuringPool
from fitup.phone.shot import Shot, shot_id
from fitup.phone.shot_store import ShotStore
from tests.phone.shop_app import DONE, Phone, Program, children, commented, digest_of

__all__ = ["phone_figures"]

ROOT = Path(__file__).parents[2]
JOINTS = tuple(f"J{k}" for k in range(1, 11))
ROUNDS = 6
PHONES = 10
PHOTOS_EACH = 2
TURNS = 2
# What is wanted of sent_to_verdict: so many times the command line's measuring, and this on top.
WANTED_RATIO, WANTED_S = 1.5, 0.3


def phone_figures() -> dict[str, Any]:
    """Figures for bench.json; the server is a program of its own, the phones are threads of this one."""
    with tempfile.TemporaryDirectory(prefix="fitup-bench-phone-") as name:
        folder = Path(name)
        with _server(folder / "shop") as server, _pool(folder / "pool") as alone:
            phones = [server.pair(f"Phone {k}", "fitter") for k in range(PHONES)]
            single = _single(phones[0], folder)
            errors = single.pop("errors")
            ten_s, alone_s, ten_cpu_s, alone_cpu_s = [], [], [], []
            for turn in range(TURNS):  # in turn, since other programs come and go on a machine
                family = (server.process.pid, *children(server.process.pid))
                before = _cpu_s(family)
                needed, failed = _ten_phones(phones, turn)
                ten_cpu_s.append(_cpu_s(family) - before)
                ten_s.append(needed)
                errors += failed
                needed, cpu = alone(turn)
                alone_s.append(needed)
                alone_cpu_s.append(cpu)
            peak_mb = _peak_mb(server.process.pid)
    count = PHONES * PHOTOS_EACH
    return {
        "photo": "12 megapixels, JPEG, loopback",
        "workers": os.cpu_count(),
        "sent_to_verdict_over_cli": single["sent_to_verdict_s"] / single["cli_measuring_s"],
        "sent_to_verdict_wanted_s": WANTED_RATIO * single["cli_measuring_s"] + WANTED_S,
        **single,
        "ten_phones_throughput_ratio": sum(alone_s) / sum(ten_s),
        "ten_phones_cpu_ratio": sum(alone_cpu_s) / sum(ten_cpu_s),
        "ten_phones_photos_per_s": count * TURNS / sum(ten_s),
        "pool_alone_photos_per_s": count * TURNS / sum(alone_s),
        "peak_mb": peak_mb,
        "errors": errors,
    }


def _single(phone: Phone, folder: Path) -> dict[str, Any]:
    """One photo after the other, in turn by phone and by a warm command line; medians [s]."""
    verdict_s, done_s, errors = [], [], 0
    measuring_s, whole_s = [], []
    with _warm_command_line(folder) as inspect:
        for number in range(ROUNDS + 2):
            photo = variant("J2", number)
            began = time.perf_counter()
            shot = phone.send(photo, "J2").json()
            verdict = 0.0
            while shot["state"] not in DONE:
                shot = phone.get(f"/api/shots/{shot['id']}?wait=20&seen={shot['version']}")
                verdict = verdict or (time.perf_counter() - began if shot["verdict"] else 0.0)
            errors += shot["state"] != "done"
            verdict_s.append(verdict)
            done_s.append(time.perf_counter() - began)
            both = inspect()
            measuring_s.append(both[0])
            whole_s.append(both[1])
    warm = slice(2, None)
    return {
        "sent_to_verdict_s": statistics.median(verdict_s[warm]),
        "sent_to_archived_s": statistics.median(done_s[warm]),
        "cli_measuring_s": statistics.median(measuring_s[warm]),
        "cli_with_files_and_archive_s": statistics.median(whole_s[warm]),
        "errors": errors,
    }


def _ten_phones(phones: list[Phone], turn: int) -> tuple[float, int]:
    """How long ten phones need that send at once, each its photos one behind the other; and what failed."""
    failed = []
    begin = threading.Barrier(PHONES + 1)

    def run(number: int) -> None:
        phone, joint = phones[number], JOINTS[number]
        photos = [variant(joint, _number(turn, k)) for k in range(PHOTOS_EACH)]
        begin.wait()
        try:
            sent = [phone.send(photo, joint) for photo in photos]
            shots = [phone.follow(answer.json(), 300) for answer in sent]
            failed.extend(shot for shot in shots if shot["state"] != "done")
        except Exception as error:
            failed.append(error)

    threads = [threading.Thread(target=run, args=(number,)) for number in range(PHONES)]
    for one in threads:
        one.start()
    begin.wait()
    began = time.perf_counter()
    for one in threads:
        one.join()
    return time.perf_counter() - began, len(failed)


@contextlib.contextmanager
def _pool(folder: Path) -> Iterator[Callable[[int], tuple[float, float]]]:
    """The same worker pool without a server: measures the same photos; how long it and its workers' cores
    needed [s].
    """
    job = ServedJob(job=read_job(ROOT / "demo_images" / "joints.toml"))
    settings = PhoneSettings(jobs=(job,), archive=str(folder / "archive"), state_folder=folder)
    open_archive(settings.archive, create=True)
    store = ShotStore(folder)
    pool = MeasuringPool(settings, store, lambda _: None)

    def alone(turn: int) -> tuple[float, float]:
        before, began = _cpu_s(pool.pids), time.perf_counter()
        for joint in JOINTS:
            for k in range(PHOTOS_EACH):
                _add(store, joint, _number(turn, k))
                pool.wake()
        while store.open_shots():
            time.sleep(0.02)
        return time.perf_counter() - began, _cpu_s(pool.pids) - before

    pool.start()
    try:
        alone(TURNS)  # warm
        yield alone
    finally:
        pool.stop()
        store.close()


def _number(turn: int, photo: int) -> int:
    return 1000 * (turn + 1) + photo


def _add(store: ShotStore, joint: str, number: int) -> None:
    photo = variant(joint, number)
    path, digest = store.new_file(), digest_of(photo)
    path.write_bytes(photo)
    shot = Shot(
        id=shot_id(digest, "RT-40", joint),
        digest=digest,
        job="RT-40",
        joint=joint,
        name=f"{joint}.jpg",
        who="Pool",
        phone_id="0",
        received_at_utc="2026-11-25T10:00:00+00:00",
    )
    store.add(shot, path)


def variant(joint: str, number: int) -> bytes:
    """The demo photo of a joint, each time with other bytes."""
    (path,) = (ROOT / "demo_images").glob(f"{int(joint[1:]):02d}_*.jpg")
    return commented(path.read_bytes(), f"photo {number}")


@contextlib.contextmanager
def _server(folder: Path) -> Iterator[Program]:
    server = Program(folder, "--job", str(ROOT / "demo_images" / "joints.toml"), workers=os.cpu_count() or 1)
    server.start()
    try:
        yield server
    finally:
        server.close()


_COMMAND_LINE = """
import sys, time
from fitup.cli.inspecting import Options, inspect_photos
from fitup.job import read_job
from fitup.listed import inspect_listed
job, photo, out, archive = sys.argv[1:]
options = Options(photos=(photo,), job=job, joint=("J2",), out=out, archive=archive, json=True)
joint = read_job(job).joint("J2")
real, sys.stdout = sys.stdout, open("/dev/null", "w")
for line in sys.stdin:
    began = time.perf_counter()
    inspect_listed(photo, [joint])
    measured = time.perf_counter()
    inspect_photos(options)
    print(measured - began, time.perf_counter() - measured, file=real, flush=True)
"""


@contextlib.contextmanager
def _warm_command_line(folder: Path) -> Iterator[Callable[[], tuple[float, float]]]:
    """What the command line does, in one process that stays: measuring alone, and all of `fitup inspect`."""
    photo = folder / "J2.jpg"
    photo.write_bytes(variant("J2", 0))
    places = [ROOT / "demo_images" / "joints.toml", photo, folder / "results", folder / "cli-archive"]
    process = subprocess.Popen(
        [sys.executable, "-c", _COMMAND_LINE, *map(str, places)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
    )
    assert process.stdin is not None
    assert process.stdout is not None

    def inspect() -> tuple[float, float]:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write("again\n")
        process.stdin.flush()
        measuring, whole = process.stdout.readline().split()
        return float(measuring), float(whole)

    try:
        yield inspect
    finally:
        process.stdin.close()
        process.wait(30)
        process.stdout.close()


def _peak_mb(pid: int) -> float:
    """Peak memory of the server and all its workers together: each one's own peak, added up [MB]."""
    peaks = [_peak_kb(one) for one in (pid, *children(pid))]
    return sum(peaks) * 1024 / 1e6


def _cpu_s(pids: Sequence[int]) -> float:
    """Processor time that processes have taken, of their own and of the system for them [s]."""
    ticks = 0
    for pid in pids:
        told = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        ticks += int(told[11]) + int(told[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def _peak_kb(pid: int) -> int:
    status = Path(f"/proc/{pid}/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0])


if __name__ == "__main__":
    import json

    print(json.dumps(phone_figures(), indent=1))
