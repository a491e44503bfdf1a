"""Running command lines in an empty folder."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.cli.boundary import run


@pytest.fixture
def fitup(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., tuple[int, str, str]]:
    """Run a command line in an empty folder; gives code, stdout and stderr."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("FITUP_DEBUG", raising=False)

    def call(*arguments: object) -> tuple[int, str, str]:
        code = run([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        return code, out, err

    return call
