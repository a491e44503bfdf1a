"""The map of the code: folders, import order, one error family, file sizes, documents."""

from __future__ import annotations

import ast
import inspect
from pathlib import Path

import pytest

from fitup import errors

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "fitup"
# Each stage imports only from those before it; the doors and the pipeline come last.
STAGES = ("photo", "scale", "edges", "profile", "verdict", "evidence")
PIPELINES = (
    *("settings", "targets", "joint_course", "inspection"),
    *("job_keys", "job_entries", "job", "joints", "listed", "parallel"),
    *("strip_links", "photo_strips", "seam", "sides"),
    *("repeating", "changes", "worker_processes", "cluster", "remeasuring", "remeasured"),
)
STUDY = "study"  # uses the stages and the pipelines; no stage uses it
PHONE = "phone"  # a door, as the command line is, and opened by it
ORDER = (*STAGES, *PIPELINES, STUDY, PHONE, "cli")
ANYBODY = {"errors", "joint", "matrix_threads", "toml_lines"}
FILES = sorted(PACKAGE.rglob("*.py"))
MOST_LINES = 400


def part_of(path: Path) -> str:
    """Stage or top-level module that a file belongs to."""
    inside = path.relative_to(PACKAGE)
    return inside.parts[0] if len(inside.parts) > 1 else inside.stem


def imported_parts(tree: ast.AST) -> set[str]:
    """Stages that a file imports, at its top or inside functions; those for type checkers too."""
    parts = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        else:
            continue
        parts |= {name.split(".")[1] for name in names if name.startswith("fitup.")}
    return parts


@pytest.mark.parametrize("stage", STAGES)
def test_stage_has_its_folder_and_public_names(stage: str) -> None:
    tree = ast.parse((PACKAGE / stage / "__init__.py").read_text(encoding="utf-8"))
    assert ast.get_docstring(tree)
    names = {node.targets[0].id for node in tree.body if _is_plain_assignment(node)}
    assert "__all__" in names


def _is_plain_assignment(node: ast.stmt) -> bool:
    return isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_follow_the_road_of_the_data(path: Path) -> None:
    own = part_of(path)
    if own not in ORDER:
        return  # the package's own __init__ and __main__ are its public face
    known = set(ORDER) | ANYBODY
    used = {part for part in imported_parts(ast.parse(path.read_text(encoding="utf-8"))) if part in known}
    allowed = {own, *ORDER[: ORDER.index(own)]} | ANYBODY
    assert used <= allowed


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_files_are_short_and_say_what_they_are(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MOST_LINES
    assert ast.get_docstring(ast.parse(text))


def test_nothing_lies_outside_the_map() -> None:
    folders = {p.name for p in PACKAGE.iterdir() if p.is_dir() and p.name != "__pycache__"}
    modules = {p.stem for p in PACKAGE.glob("*.py")}
    assert folders == {*STAGES, STUDY, PHONE, "cli"}
    assert modules == {"__init__", "__main__", *ANYBODY, *PIPELINES}


def test_errors_are_one_family_with_codes() -> None:
    family = [
        value for name, value in vars(errors).items() if inspect.isclass(value) and name.endswith("Error")
    ]
    assert len(family) == 5
    for error in family:
        assert issubclass(error, errors.FitupError)
        assert error.exit_code in set(errors.ExitCode)


def test_no_stage_raises_an_error_of_its_own_making() -> None:
    """Error classes live in errors.py; the signal for a closed pipe never leaves the command line."""
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef) and node.name.endswith(("Error", "Exception")):
                assert path.name == "errors.py" or node.name == "PipeClosedError", f"{path}: {node.name}"


def test_rich_is_imported_for_screen_and_progress_only() -> None:
    users = {
        path.name
        for path in FILES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if (isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "rich")
        or (isinstance(node, ast.Import) and any(alias.name.split(".")[0] == "rich" for alias in node.names))
    }
    assert users == {"screen.py", "progress.py"}


def test_documents_mention_every_command() -> None:
    documents = [path for path in (ROOT / "README.md", ROOT / "DEVELOPERS.md") if path.is_file()]
    if not documents:
        pytest.skip("no README.md yet")
    text = "\n".join(path.read_text(encoding="utf-8") for path in documents)
    for command in (
        "inspect",
        "seam",
        "sides",
        "target draw",
        "target check",
        "settle",
        "compare",
        "report",
        "record show",
        "record repeat",
        "schema",
    ):
        assert f"fitup {command}" in text, command
