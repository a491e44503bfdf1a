"""Which spots a picture names: not the rim of one that is named already, and near flecks together."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitup.evidence.words import from_to, spot_label

if TYPE_CHECKING:
    from fitup.verdict import JointVerdict, Spot

__all__ = ["NamedSpot", "spots_to_name"]

_GATHER_MM = 5.0  # unseen flecks nearer than this have one name
_TOUCHING_MM = 1e-6


@dataclass(frozen=True, kw_only=True)
class NamedSpot:
    """A spot, or several unseen ones as one, and its name in a few words."""

    spot: Spot
    label: str


def spots_to_name(verdict: JointVerdict) -> list[NamedSpot]:
    """Spots in order along the joint, as a picture names them; the record keeps every one."""
    named: list[NamedSpot] = []
    for spot in verdict.spots:
        if _is_rim(spot, verdict):
            continue
        last = named[-1].spot if named else None
        if last is not None and _one_with(last, spot):
            both = replace(last, end_mm=spot.end_mm, at_mm=(last.start_mm + spot.end_mm) / 2)
            named[-1] = NamedSpot(spot=both, label=f"unseen, parts of {from_to(both.start_mm, both.end_mm)}")
        else:
            named.append(NamedSpot(spot=spot, label=spot_label(spot)))
    return named


def _one_with(last: Spot, spot: Spot) -> bool:
    unseen = str(last.state) == str(spot.state) == "unseen"
    return unseen and spot.start_mm - last.end_mm < _GATHER_MM


def _is_rim(spot: Spot, verdict: JointVerdict) -> bool:
    """A doubtful stretch beside one over the limit: closing that closes it too."""
    if str(spot.state) != "doubtful":
        return False
    reach = verdict.spot_rule.merge_mm + _TOUCHING_MM
    return any(
        str(other.state) == "over"
        and max(other.start_mm - spot.end_mm, spot.start_mm - other.end_mm) <= reach
        for other in verdict.spots
    )
