"""The suite's errors laid open: python -m tests.bench.suite_errors OUT.npz [--only WORD].

Writes every scored station (scene, camera, factor, error, u, the budget's parts) to OUT.npz and prints how
errors in units of u part into scene, camera and what is left, and how far each part of the budget goes with
the errors that photos have in common. For those who work on the budget.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from tests.bench.suite import SuiteOutcome, measure_suite
from tests.bench.suite_photos import build, plan
from tests.bench.suite_scenes import demo_sources, hostile_sources

__all__ = ["decomposition", "station_table"]

CACHE = Path(__file__).resolve().parents[2] / "out" / "suite"
Array = NDArray[np.float64]


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.suite_errors", description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--only", default="", help="photos whose name or scene's factor holds this word")
    options = parser.parse_args(arguments)
    photos = plan([*demo_sources(), *hostile_sources(CACHE / "linear")], CACHE / "photos")
    chosen = [p for p in photos if options.only in p.name or options.only in p.source.scene_factor]
    build(chosen)
    outcomes = measure_suite(chosen, tell=lambda name: None)
    np.savez_compressed(options.out, **station_table(outcomes))
    tell(outcomes)


def station_table(outcomes: list[SuiteOutcome]) -> dict[str, Array]:
    """Columns of all scored stations; `part: NAME` is the budget's line, 0 where a photo has none."""
    read = [o for o in outcomes if o.score is not None and len(o.score.u_mm)]
    names = sorted({name for o in read for name in o.parts_mm})
    columns: dict[str, list[Any]] = {}
    for o in read:
        own, count = o.score, len(o.score.u_mm)  # type: ignore[union-attr]
        row = {
            "photo": np.full(count, o.name), "scene": np.full(count, o.scene),
            "camera": np.full(count, o.camera), "good": np.full(count, o.good),
            "camera_factor": np.full(count, o.labels[0]), "scene_factor": np.full(count, o.labels[-1]),
            "s_mm": own.station_mm, "true_mm": own.true_mm, "error_mm": own.error_mm, "u_mm": own.u_mm,
            "px_per_mm": own.px_per_mm, "covered": own.covered,
        }  # fmt: skip
        row |= {f"part: {name}": o.parts_mm.get(name, np.zeros(count)) for name in names}
        for key, value in row.items():
            columns.setdefault(key, []).append(value)
    return {key: np.concatenate(values) for key, values in columns.items()}


def decomposition(over_u: Array, scene: Array, camera: Array) -> dict[str, float]:
    """Mean squares of error over u by photo: all; of scenes; of cameras beside it; of photos; within photos.

    Scene and camera effects are fitted together to the photos' means by least squares; each share is what
    the fit loses in mean square when that effect is left out.
    """
    photo = np.char.add(np.char.add(scene.astype(str), "__"), camera.astype(str))
    names, first, index = np.unique(photo, return_index=True, return_inverse=True)
    count = np.bincount(index)
    mean = np.bincount(index, over_u) / count
    within = float(np.sum((over_u - mean[index]) ** 2) / len(over_u))
    sides = [_dummies(scene[first]), _dummies(camera[first])]

    def left(*groups: Array) -> float:
        design = np.hstack([np.ones((len(names), 1)), *groups])
        rest = mean - design @ np.linalg.lstsq(design, mean, rcond=None)[0]
        return float(np.mean(rest**2))

    both = left(*sides)
    return {
        "mean": float(mean.mean()),
        "mean square of photos": float(np.mean(mean**2)),
        "scenes": left(sides[1]) - both,
        "cameras": left(sides[0]) - both,
        "photos beside these": both,
        "within photos": within,
    }


def _dummies(words: Array) -> Array:
    return (words[:, None] == np.unique(words)[None]).astype(float)


# ------------------------------------------------------------------------------------------------- print


def tell(outcomes: list[SuiteOutcome]) -> None:
    table = station_table(outcomes)
    over_u = table["error_mm"] / table["u_mm"]
    print(f"{len(over_u)} stations of {len(np.unique(table['photo']))} photos; error / u, then mm")
    for key in ("camera_factor", "camera", "scene_factor", "scene"):
        _groups(key, table, over_u)
    for title, keep in (
        ("all", np.ones(len(over_u), bool)),
        ("butt joints", np.char.find(table["scene_factor"].astype(str), "kind: ") < 0),
    ):
        print(f"\nMean squares of error / u, {title}")
        parts = decomposition(over_u[keep], table["scene"][keep], table["camera"][keep])
        print("\n".join(f"  {name:24s} {value:+.3f}" for name, value in parts.items()))
        _factors(table, keep)
    _parts(table)


def _groups(key: str, table: dict[str, Array], over_u: Array) -> None:
    print(f"\n{key:34s} photos  mean   rms   95%   bias mm  rms mm   u mm  largest parts (rms, um)")
    for word in np.unique(table[key]):
        k = table[key] == word
        error, u = table["error_mm"][k], table["u_mm"][k]
        parts = {name[6:]: np.sqrt(np.mean(v[k] ** 2)) for name, v in table.items() if name[:6] == "part: "}
        top = sorted(parts.items(), key=lambda item: -item[1])[:4]
        print(
            f"{word:34s} {len(np.unique(table['photo'][k])):6d} "
            f"{over_u[k].mean():+5.2f} {_rms(over_u[k]):5.2f} "
            f"{table['covered'][k].mean():5.3f} {error.mean():+8.4f} {_rms(error):7.4f} {_rms(u):6.4f}  "
            + ", ".join(f"{name} {1000 * value:.0f}" for name, value in top)
        )


def _parts(table: dict[str, Array]) -> None:
    """Photos by the size of each part of the budget: does the error grow with it as it should?"""
    photo, _first, index = np.unique(table["photo"], return_index=True, return_inverse=True)
    count = np.bincount(index)
    error = np.bincount(index, table["error_mm"]) / count
    print(f"\nMean error of photos in thirds by the size of a part (um), {len(photo)} photos")
    for name in (n for n in table if n.startswith("part: ")):
        size = np.sqrt(np.bincount(index, table[name] ** 2) / count)
        thirds = np.array_split(np.argsort(size), 3)
        told = [f"part {1e3 * _rms(size[t]):5.1f} error {1e3 * _rms(error[t]):5.1f}" for t in thirds]
        print(f"  {name[6:]:28s} " + " | ".join(told))


def _factors(table: dict[str, Array], keep: Array) -> None:
    """Factors on the parts' variances that would explain the photos' mean square errors best (>= 0)."""
    _, index = np.unique(table["photo"][keep], return_inverse=True)
    count = np.bincount(index)

    def mean_of(values: Array) -> Array:
        return np.asarray(np.bincount(index, values[keep] ** 2) / count)

    names = [n for n in table if n.startswith("part: ") and table[n][keep].any()]
    stated = mean_of(table["u_mm"])
    design = np.stack([mean_of(table[n]) for n in names], axis=1) / stated[:, None]
    factor, _ = nnls(design, mean_of(table["error_mm"]) / stated)
    told = sorted(zip(names, factor, design.mean(axis=0), strict=True), key=lambda row: -row[2])
    print("  factor on each part's variance that explains the photos best (share of the variance stated)")
    print("\n".join(f"    {n[6:]:34s} {f:5.2f} ({share:.3f})" for n, f, share in told if share > 0.005))


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


if __name__ == "__main__":
    main()
