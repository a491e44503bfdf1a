"""How the HTML page looks. Texts and their grounds are written down once, so that contrast can be tested."""

from __future__ import annotations

from fitup.evidence.palette import VERDICT_LOOKS
from fitup.evidence.report.style import CAREFUL_GROUND, FINE_PRINT, HAIRLINE, INK, PAPER

__all__ = ["PAIRS", "style_sheet"]

PAIRS: dict[str, tuple[str, str]] = {
    "body": (INK, PAPER),
    "dt, th, figcaption, .fine, .beside": (FINE_PRINT, PAPER),
    "a": (INK, PAPER),
    ".careful": (INK, CAREFUL_GROUND),
    **{f".verdict-{word}": (look.text_colour, look.colour) for word, look in VERDICT_LOOKS.items()},
}
"""Selector to text and ground, #rrggbb."""

_BORDERS = {"solid": "2px solid", "thick": "6px solid", "dashed": "3px dashed", "dotted": "3px dotted"}
_LAYOUT = f"""
:root {{ color-scheme: light; font-size: 15px; }}
body {{ font: 1rem/1.45 system-ui, "DejaVu Sans", sans-serif; margin: 0 auto; padding: 1.5rem;
  max-width: 62rem; }}
header.sheet {{ display: flex; justify-content: space-between; gap: 1rem; border-bottom: 1px solid {HAIRLINE};
  padding-bottom: .4rem; margin: 3rem 0 1.2rem; }}
header.sheet:first-of-type {{ margin-top: 0; }}
h1 {{ font-size: 1.05rem; margin: 0; overflow-wrap: anywhere; }}
h2 {{ font-size: 1.2rem; margin: 2.2rem 0 .6rem; }}
.beside, .fine, figcaption {{ font-size: .85rem; }}
.top {{ display: grid; grid-template-columns: minmax(13rem, 19rem) 1fr; gap: 1.5rem; align-items: stretch; }}
.word {{ display: flex; flex-direction: column; justify-content: center; align-items: center;
  padding: 1.1rem; }}
.word strong {{ font-size: 2rem; letter-spacing: .02em; }}
.word i {{ width: 85%; margin-top: .6rem; border-top-color: currentColor; }}
.tag {{ display: inline-block; padding: .1rem .6rem; font-weight: bold; font-size: .85rem; }}
.figures {{ display: grid; grid-template-columns: 1fr 1fr; gap: .7rem 1.5rem; margin: 0;
  align-content: center; }}
.figures dd {{ font-weight: bold; }}
.advice {{ font-size: 1.15rem; font-weight: bold; margin: 1.1rem 0 .3rem; }}
.careful {{ border: 1px solid {INK}; font-weight: bold; padding: .6rem .9rem; }}
dl {{ margin: 0 0 1rem; }}
dl.facts {{ display: grid; grid-template-columns: 11rem 1fr; gap: .15rem 1rem; }}
dd {{ margin: 0; }}
p, dd, td, figcaption, dt {{ overflow-wrap: anywhere; }}
p {{ margin: .3rem 0; }}
table {{ border-collapse: collapse; width: 100%; table-layout: fixed; margin: 0 0 1rem; }}
th, td {{ text-align: start; vertical-align: top; padding: .3rem .6rem .3rem 0;
  border-bottom: 1px solid {HAIRLINE}; }}
th {{ font-weight: normal; border-bottom-color: {INK}; }}
.num {{ text-align: right; padding-inline-end: 1rem; }}
.state {{ font-weight: bold; white-space: nowrap; }}
.swatch {{ width: 2.3rem; height: .95rem; vertical-align: -.15rem; margin-inline-end: .5rem; }}
.chart {{ display: block; width: 100%; height: auto; }}
.legend span {{ margin-inline-end: 1.4rem; white-space: nowrap; font-size: .85rem; }}
figure {{ margin: 1rem 0; }}
figure img {{ display: block; max-width: 100%; height: auto; }}
@media (max-width: 40rem) {{ .top, dl.facts {{ grid-template-columns: 1fr; }} }}
@media print {{
  :root {{ font-size: 9pt; }}
  body {{ max-width: none; padding: 0; }}
  * {{ -webkit-print-color-adjust: exact; print-color-adjust: exact; }}
  header.sheet:not(:first-of-type) {{ break-before: page; }}
  tr, figure, .top, .careful {{ break-inside: avoid; }}
  h2 {{ break-after: avoid; }}
  figure img {{ max-height: 12cm; width: auto; }}
}}
@page {{ margin: 15mm; }}
"""


def style_sheet() -> str:
    """The page's style, as text."""
    inks = "".join(
        f"{names} {{ color: {ink}; background: {ground}; }}\n" for names, (ink, ground) in PAIRS.items()
    )
    lines = "".join(
        f".verdict-{word} i {{ border-top: {_BORDERS[look.pattern]}; }}\n"
        for word, look in VERDICT_LOOKS.items()
    )
    return f"{_LAYOUT}{inks}{lines}"
