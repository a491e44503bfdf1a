"""Time and memory as ratios, so that figures of different machines can be compared.

Everything that is compared runs interleaved in one go, and medians are taken. Every photo has a process of
its own: how long the plain decoding takes depends on what a process did before (memory that it holds already
need not be asked for anew), so that the ratio would be another one in every order. Warm means the second and
later inspections in that process; what is worked out for one photo's view is forgotten in between.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from statistics import median
from typing import Any
from unittest.mock import patch

import cv2

from fitup import inspection as inspection_module
from fitup.edges.base_light import BaseLights
from fitup.inspection import InspectionSettings, inspect
from fitup.matrix_threads import MATRIX_THREADS
from tests.bench.accuracy import settings_of
from tests.bench.kinds import kind_settings
from tests.bench.truth import Truth, load_truths

__all__ = ["cold_import_s", "help_over_import", "kinds_over_decode", "peak_mb", "verdict_over_decode"]

REPEATS = 11
ROOT = Path(__file__).resolve().parents[2]


def verdict_over_decode(truths: list[Truth]) -> dict[str, Any]:
    """Warm photo-to-verdict time and every stage's over the plain grey decode of the same file."""
    photos = [_alone(truth) for truth in truths]
    stages = {name: round(median(p["stages"][name] for p in photos), 3) for name in photos[0]["stages"]}
    return {
        "verdict_over_grey_decode": round(median(p["ratio"] for p in photos), 3),
        "grey_decode_ms": round(median(p["decode_ms"] for p in photos), 2),
        "verdict_ms": round(median(p["verdict_ms"] for p in photos), 2),
        "stages_over_grey_decode": stages,
        "photos": [{k: v for k, v in p.items() if k != "stages"} for p in photos],
    }


def kinds_over_decode(truths: list[Truth]) -> dict[str, float]:
    """Photo-to-verdict time over the grey decode for photos of other joint kinds, by photo."""
    return {truth.name: _alone(truth)["ratio"] for truth in truths}


def _alone(truth: Truth) -> dict[str, Any]:
    """Times of one photo in a process of its own; the matrix library has one thread, as under `fitup`."""
    found: dict[str, Any] = json.loads(_process(["-m", "tests.bench.speed", str(truth.photo)]).stdout)
    return found


def main(photo: Path) -> None:
    """Print the times of one photo."""
    truth = next(truth for truth in load_truths(photo.parent) if truth.photo == photo)
    targets = truth.data.get("targets")
    settings = settings_of(truth) if targets is None else kind_settings(truth, len(targets))
    print(json.dumps(_one_photo(truth, settings)))


def _one_photo(truth: Truth, settings: InspectionSettings) -> dict[str, Any]:
    name = str(truth.photo)
    decode: list[float] = []
    verdict: list[float] = []
    stages: dict[str, list[float]] = {}
    inspect(truth.photo, settings)  # warm: files, imports, look-up tables
    for _ in range(REPEATS):
        BaseLights.seen.cache_clear()
        decode.append(_time(lambda: cv2.imread(name, cv2.IMREAD_GRAYSCALE)))
        verdict.append(_time(lambda: inspect(truth.photo, settings)))
        BaseLights.seen.cache_clear()
        for stage, seconds in _staged(truth.photo, settings).items():
            stages.setdefault(stage, []).append(seconds)
    base = median(decode)
    return {
        "photo": truth.name,
        "ratio": round(median(verdict) / base, 3),
        "decode_ms": round(1e3 * base, 2),
        "verdict_ms": round(1e3 * median(verdict), 2),
        "stages": {stage: median(seconds) / base for stage, seconds in stages.items()},
    }


def _time(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


# Names that fitup/inspection.py calls, and the stage that their time counts for.
STAGES = {
    "open_photo": "open",
    "targets_of": "find_target",
    "target_scale": "scale_map",
    "find_course": "find_joint",
    "read_response": "response",
    "straighten": "band",
    "find_arrises": "arrises",
    "measure_gap": "profile",
    "judge": "judge",
}


def _staged(path: Path, settings: InspectionSettings) -> dict[str, float]:
    """One inspection with a clock around every stage that fitup/inspection.py calls."""
    took = dict.fromkeys(STAGES.values(), 0.0)

    def clocked(stage: str, work: Callable[..., Any]) -> Callable[..., Any]:
        def timed(*arguments: Any, **named: Any) -> Any:
            start = time.perf_counter()
            result = work(*arguments, **named)
            took[stage] += time.perf_counter() - start
            return result

        return timed

    with ExitStack() as stack:
        for name, stage in STAGES.items():
            work = getattr(inspection_module, name)
            stack.enter_context(patch.object(inspection_module, name, clocked(stage, work)))
        whole = _time(lambda: inspect(path, settings))
    took["rest"] = whole - sum(took.values())
    return took


# ------------------------------------------------------------------------------------------ fresh processes

# The high-water mark of this program's own memory. ru_maxrss would count the parent's, from before the exec.
_HIGH_WATER = """
import resource, sys
def high_water_mb():
    try:
        with open("/proc/self/status") as status:
            for line in status:
                if line.startswith("VmHWM"):
                    return int(line.split()[1]) / 1024
    except OSError:
        pass
    size = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return size / (1024 * 1024 if sys.platform == "darwin" else 1024)
"""

_INSPECT = """
from fitup.inspection import InspectionSettings, inspect
from fitup.matrix_threads import MATRIX_THREADS
from fitup.verdict import parse_sheet, parse_wire
import sys
settings = InspectionSettings(wire=parse_wire(sys.argv[2]), sheet=parse_sheet(sys.argv[3]))
"""


def peak_mb(truth: Truth) -> dict[str, float]:
    """Peak resident memory of a fresh process that inspects one photo, and of one that only imports."""
    whole = float(
        _run(_HIGH_WATER + _INSPECT + "inspect(sys.argv[1], settings)\nprint(high_water_mb())", truth)
    )
    imports = float(_run(_HIGH_WATER + _INSPECT + "print(high_water_mb())", truth))
    return {"peak_mb": round(whole, 1), "peak_imports_only_mb": round(imports, 1)}


def cold_import_s(truth: Truth) -> dict[str, float]:
    """Seconds that a fresh process spends importing what `fitup inspect` needs up to the verdict.

    Python's own import clock over the command line's door and one inspection, so that imports inside
    functions count, less what the bare interpreter imports.
    """
    inspection, door = [], []
    for _ in range(5):
        bare = _imported("pass", truth)
        inspection.append(_imported(_INSPECT + "inspect(sys.argv[1], settings)", truth) - bare)
        door.append(_imported("import fitup.cli.boundary, fitup.cli.app", truth) - bare)
    both = median(_imported(_DOOR_TOO, truth) - bare for _ in range(5))
    return {
        "cold_import_s": round(both, 4),
        "cold_import_inspection_s": round(median(inspection), 4),
        "cold_import_door_s": round(median(door), 4),
    }


_DOOR_TOO = (
    "import fitup.cli.boundary, fitup.cli.app, fitup.cli.inspecting"
    + _INSPECT
    + "inspect(sys.argv[1], settings)"
)


def help_over_import() -> dict[str, float]:
    """`fitup --help` over a bare import of the two libraries that any such command line needs."""
    helped, imported = [], []
    for _ in range(REPEATS):
        helped.append(_time(lambda: _process(["-m", "fitup", "--help"])))
        imported.append(_time(lambda: _process(["-c", "import typer, rich"])))
    return {
        "help_over_import": round(median(helped) / median(imported), 3),
        "help_s": round(median(helped), 4),
    }


def _imported(code: str, truth: Truth) -> float:
    """Sum of the modules' own import times [s]."""
    report = _process(["-X", "importtime", "-c", code, *_arguments(truth)]).stderr
    lines = [
        line for line in report.splitlines() if line.startswith("import time:") and "self [us]" not in line
    ]
    return sum(int(line.split(":")[1].split("|")[0]) for line in lines) / 1e6


def _run(code: str, truth: Truth) -> str:
    return _process(["-c", code, *_arguments(truth)]).stdout.strip()


def _arguments(truth: Truth) -> list[str]:
    return [str(truth.photo), truth.data["wire"], f"{truth.data['sheet_mm']}mm"]


def _process(arguments: list[str]) -> subprocess.CompletedProcess[str]:
    environment = os.environ | {MATRIX_THREADS: "1"}
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]))
