"""What a shop can ask to be printed: forms, each one sheet that carries one or two strips, or the lens board.

A form adds no pattern of its own: a corner sheet carries two strips of neighbouring numbers and a magnet
sheet one, the very strips that their own forms give. So every strip is found in the same way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fitup.errors import UsageError
from fitup.scale.layout import FORMS, TargetLayout, target_layout

__all__ = ["PRINT_FORMS", "PrintForm", "form_layouts"]


@dataclass(frozen=True, kw_only=True)
class PrintForm:
    """One sheet: which strip it carries and what for."""

    strip_form: str
    use: Literal["strip", "corner", "magnet", "lens"] = "strip"

    @property
    def strips(self) -> int:
        """How many strips of neighbouring numbers the sheet carries."""
        return 2 if self.use == "corner" else 1

    @property
    def numbers(self) -> int:
        """The highest number that a sheet can begin with."""
        return FORMS[self.strip_form].strips + 1 - self.strips


PRINT_FORMS: dict[str, PrintForm] = {
    "strip-30x5": PrintForm(strip_form="strip-30x5"),
    "strip-8x5": PrintForm(strip_form="strip-8x5"),
    "corner-30x5": PrintForm(strip_form="strip-30x5", use="corner"),
    "corner-8x5": PrintForm(strip_form="strip-8x5", use="corner"),
    "magnet-30x5": PrintForm(strip_form="strip-30x5", use="magnet"),
    "magnet-8x5": PrintForm(strip_form="strip-8x5", use="magnet"),
    "lens-board": PrintForm(strip_form="lens-board", use="lens"),
}


def form_layouts(form: str, number: int = 1) -> tuple[TargetLayout, ...]:
    """Give the strips on a sheet, the first by its number, the second of a corner sheet by the next one.

    Raises UsageError for a form that does not exist or a number outside the set.
    """
    if form not in PRINT_FORMS:
        raise UsageError(f"There is no target form {form[:40]!r}: give one of {', '.join(PRINT_FORMS)}.")
    chosen = PRINT_FORMS[form]
    if chosen.strips > 1 and not 1 <= number <= chosen.numbers:
        raise UsageError(
            f"A sheet of form {form} carries a strip and the next one, so its number runs from 1 to "
            f"{chosen.numbers}, not {number}."
        )
    return tuple(target_layout(number + k, chosen.strip_form) for k in range(chosen.strips))
