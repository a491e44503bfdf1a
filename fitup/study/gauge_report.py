"""A gauge study on one page: verdict, numbers, plots, method, people and days, cautions; the data inside."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fitup import __version__
from fitup.evidence.report.model import (
    Attachment,
    Block,
    Facts,
    Lines,
    Picture,
    Report,
    Section,
    Sheet,
    Table,
)
from fitup.study.anova import AnovaRow
from fitup.study.crossed import Component, CrossedStudy
from fitup.study.gauge_plot import gauge_figure
from fitup.study.gauge_words import StudyVerdict, percent, verdict_on
from fitup.study.pictures import as_jpeg
from fitup.study.readings import Readings

__all__ = ["StudyFiling", "anova_lines", "gauge_report", "gauge_values"]

_MOST_NAMED = 6
CAUTION = (
    "This says how well gaps are measured, not whether a joint may be welded: local codes, the welding "
    "procedure and licensed or certified practice decide."
)


@dataclass(frozen=True, kw_only=True)
class StudyFiling:
    """Who studied what."""

    title: str = ""
    who: str = ""
    note: str = ""
    made_at: datetime


def gauge_values(study: CrossedStudy) -> dict[str, Any]:
    """All numbers of a study, for machines; what is infinite or not known is None."""
    verdict = verdict_on(study)
    parts, persons, repeats = study.cross.value_mm.shape
    shares = {
        "share_of_tolerance": study.grr.share_of_tolerance,
        "ndc": study.ndc,
        "ndc_exact": _finite(study.ndc_exact),
        "ndc_interval": [_finite(one) for one in study.ndc_interval],
        "q_mp": study.q_mp,
    }
    return {
        "kind": "gauge study",
        "fitup_version": __version__,
        "parts": parts,
        "persons": persons,
        "repeats": repeats,
        "limit_mm": study.limit_mm,
        "confidence": study.confidence,
        "word": verdict.word,
        "sentence": verdict.sentence,
        "blame": verdict.blame,
        **(dict.fromkeys(shares) if study.unproven else shares),
        "pooled": study.pooled,
        "pooling_alpha": study.alpha,
        "p_interaction": study.p_interaction,
        "anova": [{"source": row.source, "ss": row.ss, "df": row.df, "ms": row.ms} for row in _rows(study)],
        "components": {one.name: _component(one) for one in study.components},
        "cautions": list(verdict.cautions),
    }


def gauge_report(study: CrossedStudy, readings: Readings, filing: StudyFiling) -> Report:
    """Put the page together."""
    verdict = verdict_on(study)
    picture, width, height = as_jpeg(gauge_figure(study))
    title = filing.title or "Gauge study"
    cautions = (*verdict.cautions, CAUTION)
    sections = (
        Section(title=verdict.sentence, blocks=(Lines(texts=(verdict.advice, verdict.sure)),)),
        Section(title="", blocks=(_table(study), *_anova(study, verdict))),
        Section(
            title="",
            blocks=(Facts(rows=(*_facts(study, readings, filing), ("cautions", " ".join(cautions)))),),
        ),
        Section(
            title="",
            blocks=(
                Picture(
                    content=picture,
                    width_px=width,
                    height_px=height,
                    caption="Persons or phones differ by mark and line as well as by colour.",
                ),
            ),
        ),
    )
    values = json.dumps(gauge_values(study), indent=2, ensure_ascii=False).encode()
    files = [_attached("study.json", values, "application/json", "the numbers of the study")]
    if readings.content:
        files.append(_attached("readings.csv", readings.content, "text/csv", "the readings"))
    return Report(
        title=title,
        filed_at=filing.made_at,
        sheets=(Sheet(title=title, beside=f"limit {study.limit_mm:.3g} mm", sections=sections),),
        attachments=files,
    )


def anova_lines(study: CrossedStudy) -> list[tuple[str, str, str, str, str, str]]:
    """The table of variance as text: source, sum of squares, degrees of freedom, mean square, F, p."""
    lines = []
    for row in _rows(study):
        below = _below(study, row)
        f, p = ("", "")
        if below is not None:
            ratio, tail = row.over(below)
            f, p = (
                _f_words(ratio),
                ("<0.001" if tail < 0.001 else f"{tail:.3f}"),
            )
        lines.append((row.source, f"{row.ss:.6g}", f"{row.df}", f"{row.ms:.6g}", f, p))
    return lines


def _rows(study: CrossedStudy) -> tuple[AnovaRow, ...]:
    table = study.anova
    pooled = (table.pooled,) if study.pooled else ()
    return (table.part, table.person, table.interaction, table.repeat, *pooled)


def _f_words(ratio: float) -> str:
    if math.isinf(ratio):
        return "infinite"
    return f"{ratio:.3f}" if ratio < 1000 else f"{ratio:.0f}"


def _below(study: CrossedStudy, row: AnovaRow) -> AnovaRow | None:
    """What a row is compared with: main effects with interaction, or with pooled error."""
    if row.source in (study.anova.part.source, study.anova.person.source):
        return study.error
    return study.anova.repeat if row.source == study.anova.interaction.source else None


def _table(study: CrossedStudy) -> Table:
    names = {"repeatability and reproducibility": "GRR", "repeatability": "repeatability EV",
             "reproducibility": "reproducibility AV", "part": "parts PV", "total": "total TV",
             "person": "  persons or phones", "part × person": "  part × person"}  # fmt: skip
    order = (study.grr, study.repeatability, study.reproducibility, *_inner(study), study.part, study.total)
    sure = f"{100 * study.confidence:.3g} % interval, mm"
    return Table(
        heads=("component", "std dev., mm", sure, "of contribution", "of study variation", "of the limit"),
        rows=tuple(
            (
                names[one.name] + (" (set to zero)" if one.set_to_zero else ""),
                f"{one.sigma_mm:.4f}",
                f"{one.low_mm:.4f} – {one.high_mm:.4f}",
                percent(one.share_of_contribution),
                percent(one.share_of_study),
                percent(one.share_of_tolerance),
            )
            for one in order
        ),
        widths=(0.25, 0.15, 0.19, 0.13, 0.15, 0.13),
        right=frozenset({1, 2, 3, 4, 5}),
    )


def _inner(study: CrossedStudy) -> tuple[Component, ...]:
    """Persons and interaction apart, where reproducibility has both."""
    return () if study.pooled else (study.person, study.interaction)


def _anova(study: CrossedStudy, verdict: StudyVerdict) -> tuple[Block, ...]:
    below = "the pooled error" if study.pooled else "the interaction"
    table = Table(
        heads=("source", "sum of squares", "df", "mean square", "F", "p"),
        rows=tuple(anova_lines(study)),
        widths=(0.34, 0.18, 0.08, 0.18, 0.12, 0.10),
        right=frozenset({1, 2, 3, 4, 5}),
    )
    told = f"{verdict.pooling} F of parts and persons is over {below}."
    return (table, Lines(texts=(told,)))


def _facts(study: CrossedStudy, readings: Readings, filing: StudyFiling) -> tuple[tuple[str, str], ...]:
    parts, persons, repeats = study.cross.value_mm.shape
    days = " to ".join(dict.fromkeys(readings.days)) or "days not told in the readings"
    q, ndc = _shares(study)
    rows = [
        (
            "design",
            f"crossed: {parts} parts × {persons} persons or phones × {repeats} repeats = "
            f"{parts * persons * repeats} readings, from {readings.source}",
        ),
        ("persons, days", f"{_named(study.cross.persons)}; {days}"),
        (
            "share of the limit",
            f"6 standard deviations by {study.limit_mm:.3g} mm: a gap lies between 0 and the limit." + q,
        ),
        (
            "method",
            f"analysis of variance, parts and persons as drawn at random; {ndc}intervals by the modified "
            "large sample method.",
        ),
        ("studied by", f"{filing.who or 'not said'}, {filing.made_at:%Y-%m-%d}, fitup {__version__}"),
    ]
    if filing.note:
        rows.append(("note", filing.note))
    return tuple(rows)


def _shares(study: CrossedStudy) -> tuple[str, str]:
    """Q and the number of distinct categories in words; nothing where repeats prove nothing."""
    if study.unproven:
        return "", ""
    return (
        f" By ISO 22514-7 (2 U by the tolerance, U = 2 u) the same GRR gives Q {percent(study.q_mp)}, "
        "without calibration and linearity.",
        f"ndc = 1.41 PV/GRR cut down to {study.ndc} (exact {study.ndc_exact:.3f}); ",
    )


def _named(persons: tuple[str, ...]) -> str:
    more = f" and {len(persons) - _MOST_NAMED} more" if len(persons) > _MOST_NAMED else ""
    return ", ".join(persons[:_MOST_NAMED]) + more


def _component(one: Component) -> dict[str, Any]:
    return {
        "variance_mm2": one.variance_mm2,
        "sigma_mm": one.sigma_mm,
        "low_mm": one.low_mm,
        "high_mm": one.high_mm,
        "share_of_contribution": one.share_of_contribution,
        "share_of_study": one.share_of_study,
        "share_of_tolerance": one.share_of_tolerance,
        "set_to_zero": one.set_to_zero,
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) and value < 1e9 else None


def _attached(name: str, content: bytes, mime: Any, words: str) -> Attachment:
    return Attachment(name=name, content=content, mime=mime, relation="Data", words=words)
