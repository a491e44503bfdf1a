"""Decoders are kept quiet without taking the error stream away from anybody else."""

from __future__ import annotations

import os
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from PIL import Image

from fitup.photo import open_photo
from fitup.photo.picture import decode_quietly
from tests.photo.pictures import textured, written


def test_words_of_others_are_passed_on(capfd: pytest.CaptureFixture[str]) -> None:
    def decode() -> int:
        os.write(2, b"Corrupt JPEG data: premature end of data segment\n")
        os.write(2, b"the server has started\n")
        return 5

    result, words = decode_quietly(decode)
    assert result == 5
    assert b"Corrupt JPEG data" in words
    assert capfd.readouterr().err == "the server has started\n"


def test_error_stream_comes_back_after_a_failing_decoder(capfd: pytest.CaptureFixture[str]) -> None:
    def decode() -> None:
        raise ValueError("no picture")

    with pytest.raises(ValueError, match="no picture"):
        decode_quietly(decode)
    os.write(2, b"still here\n")
    assert capfd.readouterr().err == "still here\n"


def test_process_without_an_error_stream(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(written(Image.fromarray(textured(640, 480)), "JPEG"))

    def closed(_: int) -> int:
        raise OSError(9, "Bad file descriptor")

    monkeypatch.setattr(os, "dup", closed)
    monkeypatch.setattr(sys, "stderr", None)
    assert open_photo(path).width_px == 640


def test_threads_open_photos_side_by_side(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    paths = []
    for seed in range(6):
        paths.append(tmp_path / f"{seed}.jpg")
        paths[-1].write_bytes(written(Image.fromarray(textured(640, 480, seed)), "JPEG"))
    alone = [open_photo(path).pixels.tobytes() for path in paths]
    with ThreadPoolExecutor(4) as pool:
        together = [photo.pixels.tobytes() for photo in pool.map(open_photo, paths)]
    assert together == alone
    assert capfd.readouterr() == ("", "")
