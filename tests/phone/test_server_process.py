"""The server as the program that a shop runs: killed, cut off, started twice; nothing lost, nothing twice."""

from __future__ import annotations

import contextlib
import re
import socket
import ssl
import subprocess
import sys
import time
from collections import Counter
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import httpx2
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from fitup.evidence.archive.archive import open_archive
from fitup.evidence.archive.finding import Query
from tests.conftest import SCENES
from tests.drawn_joint import save
from tests.phone.shop_app import Phone, children, commented, digest_of, free_port, job_file, program


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return save(SCENES["hairline"], tmp_path_factory.mktemp("photo") / "hairline.jpg").read_bytes()


def test_a_trial_lets_a_browser_in_at_once_over_https(tmp_path: Path) -> None:
    certificate, key = _own_certificate(tmp_path)
    options = ("--demo", "--certificate", str(certificate), "--key", str(key))
    with program(tmp_path / "trial", *options, scheme="https") as server:
        trial = re.search(r"https://\S+/pair/(\S+)", "".join(server.output))
        assert trial
        context = ssl.create_default_context(cafile=str(certificate))
        with httpx2.Client(base_url=server.base, verify=context, follow_redirects=True) as browser:
            assert browser.get(trial[0]).status_code == 200
            joints = browser.post("/pair", data={"code": trial[1]})
            assert "RT-40" in joints.text
            cookie = next(iter(browser.cookies.jar))
            assert cookie.secure
            samples = browser.get("/api/samples").json()["samples"]
            assert browser.get(samples[0]["url"]).content[:2] == b"\xff\xd8"


def _own_certificate(folder: Path) -> tuple[Path, Path]:
    """A certificate of 127.0.0.1 that says of itself that it is one."""
    private = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "shop")])
    now = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(private.public_key())
        .serial_number(1)
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(hours=1))
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ip_address("127.0.0.1"))]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(private, hashes.SHA256())
    )
    files = folder / "shop.pem", folder / "shop-key.pem"
    files[0].write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    files[1].write_bytes(
        private.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    return files


def test_killed_and_started_again_it_loses_nothing_and_does_nothing_twice(
    tmp_path: Path, photo: bytes
) -> None:
    photos = [commented(photo, f"photo {k}") for k in range(4)]
    with program(tmp_path / "shop", "--job", str(job_file(tmp_path))) as server:
        phone = server.pair("Ana", "welder")
        sent = [phone.send(one, "J1") for one in photos]
        assert [answer.status_code for answer in sent] == [202] * 4
        _cut_off_upload(server.port, phone, photo)
        while phone.get(f"/api/shots/{sent[0].json()['id']}")["stage"] not in (
            "drawing",
            "archiving",
            "done",
        ):
            time.sleep(0.02)
        workers = children(server.process.pid)
        server.kill()
        _wait_until_gone(workers)
        server.start()
        shots = [phone.follow(phone.get(f"/api/shots/{answer.json()['id']}")) for answer in sent]
        assert [shot["state"] for shot in shots] == ["done"] * 4
        assert [phone.send(one, "J1").status_code for one in photos] == [200] * 4
        assert {shot["id"] for shot in phone.get("/api/shots")["shots"]} == {shot["id"] for shot in shots}
        for path in (f"/r/{shots[0]['entry']}", "/j/J1"):
            assert phone.client.get(path).status_code == 200
        assert server.interrupt() == 130
    entries = open_archive(str(tmp_path / "shop" / "archive")).search(Query())
    assert Counter(one.entry.files[-1].sha256 for one in entries) == Counter(map(digest_of, photos))
    assert not [path for path in (tmp_path / "shop" / "photos").rglob("*") if path.is_file()]


def test_a_trial_leaves_nothing_behind_also_when_it_is_told_to_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    command = [sys.executable, "-u", "-m", "fitup", "serve", "--demo", "--host", "127.0.0.1"]
    with subprocess.Popen([*command, "--port", str(free_port())], stdout=subprocess.PIPE, text=True) as trial:
        assert trial.stdout is not None
        told = "".join(iter(trial.stdout.readline, "Ctrl-C ends it; nothing of this trial is kept.\n"))
        page = re.search(r"http://\S+/pair/\S+", told)
        assert page, told
        _wait_until_answered(page[0])
        assert list(tmp_path.glob("fitup-demo-*"))
        trial.terminate()
        assert trial.wait(20) == 130
    assert not list(tmp_path.glob("fitup-demo-*"))


def _wait_until_answered(address: str) -> None:
    for _ in range(200):
        with contextlib.suppress(httpx2.HTTPError):
            httpx2.get(address)
            return
        time.sleep(0.05)
    raise AssertionError(address)


def test_what_cannot_be_served_is_said_in_a_sentence(tmp_path: Path) -> None:
    listed = job_file(tmp_path)
    broken = tmp_path / "broken.toml"
    broken.write_text("[[joint]]\nname = 3\n", encoding="utf-8")
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        usual = ["--host", "127.0.0.1", "--out", str(tmp_path / "state")]
        for options, said in (
            ([*usual, "--job", str(listed), "--port", port], "already in use"),
            (usual, "which job"),
            ([*usual, "--job", str(broken)], "broken.toml"),
            ([*usual, "--job", str(tmp_path / "none.toml")], "none.toml"),
            ([*usual, "--job", str(listed), "--certificate", "a.pem"], "--key"),
            ([*usual, "--job", str(listed), "--certificate", "a.pem", "--key", "b.pem"], "certificate"),
        ):
            code, told, error = _serve(*options)
            assert code == 2
            assert not told  # no address of a page that is not there
            assert said in error
            assert error.count("\n") == 1


def _serve(*options: str) -> tuple[int, str, str]:
    command = [sys.executable, "-m", "fitup", "serve", *options]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    return ran.returncode, ran.stdout, ran.stderr


def _wait_until_gone(pids: list[int]) -> None:
    """No worker outlives its server."""
    assert pids
    for _ in range(200):
        if not any(Path(f"/proc/{pid}").exists() for pid in pids):
            return
        time.sleep(0.05)
    raise AssertionError(pids)


def _cut_off_upload(port: int, phone: Phone, photo: bytes) -> None:
    """A phone that goes out of reach in the middle of a photo."""
    assert isinstance(phone.client, httpx2.Client)
    cookies = "; ".join(f"{name}={value}" for name, value in phone.client.cookies.items())
    head = (
        f"POST /api/shots HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: {cookies}\r\n"
        f"X-Fitup-Token: {phone.token}\r\nX-Fitup-Digest: {digest_of(photo)}\r\nX-Fitup-Joint: J3\r\n"
        f"Content-Length: {len(photo)}\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", port)) as line:
        line.sendall(head.encode() + photo[: len(photo) // 2])
        time.sleep(0.2)
