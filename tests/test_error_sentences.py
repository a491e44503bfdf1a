"""Every error is one sentence that a fitter can act on, wherever in the program it is raised.

The places are found in the program's own syntax trees, so that a new one cannot be forgotten; what is filled
in at run time is replaced by a number or a name.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable
from importlib import import_module
from pathlib import Path

import pytest

from fitup.errors import RetakeError, UsageError
from fitup.verdict import parse_length, parse_sheet, parse_wire

ROOT = Path(__file__).resolve().parents[1]
ERRORS = {"UsageError": 1, "PhotoError": 1, "StorageError": 1, "RetakeError": 3}
UNKNOWN = "7"  # stands for what only the run knows
A_NEW_SENTENCE = re.compile(r"[.!?]\s+[A-Z]")


def raising() -> list[tuple[str, ast.Call, str]]:
    """(place, call, module) of every error made in the package."""
    found = []
    for path in sorted((ROOT / "fitup").rglob("*.py")):
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        calls = (node for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if _raises(node))
        found += [(f"{path.relative_to(ROOT)}:{call.lineno}", call, module) for call in calls]
    return found


def _raises(node: ast.AST) -> bool:
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ERRORS


def words(node: ast.expr, module: str) -> str:
    """The text of an argument, with a number for what only the run knows."""
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(words(part, module) for part in node.values)
    if isinstance(node, ast.BinOp):
        return words(node.left, module) + words(node.right, module)
    name = node.value if isinstance(node, ast.FormattedValue) else node
    if isinstance(name, ast.Name):
        value = getattr(import_module(module), name.id, UNKNOWN)
        return value if isinstance(value, str) else UNKNOWN
    return UNKNOWN


def whole(node: ast.expr, module: str) -> str:
    """The text of an argument; where only the run knows its end, a full stop stands for it."""
    last = node.right if isinstance(node, ast.BinOp) else node
    last = last.values[-1] if isinstance(last, ast.JoinedStr) else last
    text = words(node, module)
    told_at_run_time = not isinstance(last, ast.Constant | ast.Name) or text == UNKNOWN
    return text + "." if told_at_run_time and not text.endswith(".") else text


def one_sentence(text: str) -> None:
    assert text.endswith((".", "?")), text
    assert not A_NEW_SENTENCE.search(text), text
    assert "  " not in text, text


PLACES = [pytest.param(call, module, id=place) for place, call, module in raising()]


def test_the_places_are_found() -> None:
    assert len(PLACES) > 60
    assert sum(place.values[0].func.id == "RetakeError" for place in PLACES) >= 10


@pytest.mark.parametrize(("call", "module"), PLACES)
def test_every_place_raises_one_sentence(call: ast.Call, module: str) -> None:
    name = call.func.id
    assert len(call.args) == ERRORS[name]
    if name != "RetakeError":
        one_sentence(whole(call.args[0], module))
        return
    reason, message, remedy = call.args
    said = words(reason, module), whole(message, module), whole(remedy, module)
    error = RetakeError(*said)
    for text in (str(error), error.message, error.remedy):
        one_sentence(text)
    assert error.message[0].isupper() or error.message[0].isdigit()
    assert error.remedy[0].isupper() or error.remedy[0] == UNKNOWN
    assert str(error).startswith(error.message.rstrip("."))
    assert len(str(error)) > len(error.message) + len(error.remedy) - 2


@pytest.mark.parametrize(
    "ask",
    [
        lambda: parse_wire("9mm"),
        lambda: parse_wire("77/78in"),
        lambda: parse_sheet("18ga"),
        lambda: parse_sheet("70"),
        lambda: parse_length("nothing", "the limit"),
    ],
)
def test_what_is_filled_in_at_run_time_ends_the_sentence(ask: Callable[[], object]) -> None:
    with pytest.raises(UsageError) as caught:
        ask()
    one_sentence(str(caught.value))


def test_two_sentences_are_joined_into_one() -> None:
    error = RetakeError("glare", "The strip shines.", "Turn the lamp.")
    assert str(error) == "The strip shines: turn the lamp."
    assert (error.message, error.remedy) == ("The strip shines.", "Turn the lamp.")


def test_a_second_colon_is_no_sentence_of_ours() -> None:
    error = RetakeError("bent", "The print is no plane: bent or curled.", "Fix it flat.")
    assert str(error) == "The print is no plane: bent or curled; fix it flat."
