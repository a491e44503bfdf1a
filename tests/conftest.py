"""Drawn photos shared by the tests of the measuring stages; each is drawn and inspected once a session."""

from __future__ import annotations

import signal
from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from pathlib import Path

import numpy as np
import pytest

from fitup.inspection import Inspection, InspectionSettings, inspect
from fitup.parallel import usable_cores
from fitup.verdict import parse_sheet, parse_wire
from tests.drawn_joint import Scene, save

_COUNT = count()
_MOST_PROCESSES = 8  # each loads all libraries, and draws what it shares anew


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """With `-n auto`: one process a core that may be used; the plugin itself counts otherwise."""
    return min(usable_cores(), _MOST_PROCESSES)


def pytest_sessionstart() -> None:
    """Ctrl-C reaches programs that tests start, even where a shell runs the tests in the background.

    Such a shell has it ignored, and every program started below inherits that.
    """
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(autouse=True)
def no_settings_of_this_user(
    monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Lens profiles that whoever runs the tests has kept must not take part, nor those of other tests."""
    folder = tmp_path_factory.getbasetemp() / f"settings {next(_COUNT)}"
    monkeypatch.setenv("XDG_CONFIG_HOME", str(folder))


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawn:
    """A scene, its photo, what the product made of it, and the true gap at every station."""

    scene: Scene
    path: Path
    inspection: Inspection
    true_gap_mm: np.ndarray

    @property
    def error_mm(self) -> np.ndarray:
        return self.inspection.profile.gap_mm - self.true_gap_mm


def true_gap(scene: Scene, xy_mm: np.ndarray) -> np.ndarray:
    """True gap square to the joint at the stations' places on it."""
    x, d = xy_mm[:, 0], 1e-3
    slope = (scene.middle_mm(x + d) - scene.middle_mm(x - d)) / (2 * d)
    return np.asarray(scene.gap_mm(x) * np.cos(np.arctan(slope)))


SCENES: dict[str, Scene] = {
    "opening": Scene(
        gap_mm=lambda x: 0.3 + 0.9 * np.exp(-(((x - 120) / 12) ** 2)),
        covered_mm=((40, 44), (160, 165)),
    ),
    "hairline": Scene(gap_mm=lambda x: 0.06 + 0 * x, slant_deg=3, face=0.03),
    "slanted taper": Scene(gap_mm=lambda x: 0.1 + 2.4 * x / 210, slant_deg=8, grain_along=True, seed=2),
    "slanted away": Scene(gap_mm=lambda x: 0.8 + 0.2 * np.sin(x / 15), slant_deg=-8, face=0.3, seed=3),
    "lit floor": Scene(gap_mm=lambda x: 0.7 + 0.3 * np.sin(x / 20), floor=0.15, seed=4),
    "back-lit": Scene(gap_mm=lambda x: 0.5 + 0.2 * np.sin(x / 20), floor=0.85, face=0.5, seed=5),
    "short openings": Scene(
        gap_mm=lambda x: 0.3 + 0.9 * ((x > 60) & (x < 61)) + 0.9 * ((x > 130) & (x < 133)), seed=6
    ),
    "strong tone": Scene(gap_mm=lambda x: 0.6 + 0 * x, contrast=0.5, sharpen=0.8, seed=7),
    "bow": Scene(
        gap_mm=lambda x: 0.25 + 0.5 * (x / 105 - 1) ** 2,
        middle_mm=lambda x: 24 - 1.5 * (x / 105 - 1) ** 2,
        turn_deg=4,
        seed=8,
    ),
    "decoys": Scene(
        gap_mm=lambda x: 0.2 + 0 * x,
        face=0.05,
        lines=((30, 120, 14.0, 0.5, 0.06), (60, 200, 31.0, 0.12, 0.2), (10, 205, 38.0, 0.1, 0.75)),
        seed=9,
    ),
}


@pytest.fixture(scope="session")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Drawn]:
    """Give a drawn scene by name, inspected with 0.9 mm wire and the scene's sheet."""
    folder = tmp_path_factory.mktemp("drawn")
    done: dict[str, Drawn] = {}

    def give(name: str) -> Drawn:
        if name not in done:
            scene = SCENES[name]
            path = save(scene, folder / f"{name.replace(' ', '_')}.jpg")
            settings = InspectionSettings(
                wire=parse_wire("0.9mm"), sheet=parse_sheet(f"{scene.sheet_mm}mm"), arris_radius_mm=0.0
            )
            inspection = inspect(path, settings)
            truth = true_gap(scene, inspection.arrises.band.xy_mm)
            done[name] = Drawn(scene=scene, path=path, inspection=inspection, true_gap_mm=truth)
        return done[name]

    return give
