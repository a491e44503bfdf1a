"""What the plots of studies have in common: a figure, marks that differ without colour, JPEG and PNG."""

from __future__ import annotations

import io
import logging
import warnings
from typing import TYPE_CHECKING, Any, Literal

from fitup.evidence.palette import BLACK, BLUE, GREY, PURPLE, VERMILLION

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["MARKS", "SIDE_COLOURS", "as_jpeg", "as_png", "dress", "new_figure", "plain_legend", "short"]

SIDE_COLOURS = (BLACK, BLUE, VERMILLION, PURPLE, GREY)
MARKS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "*")
_DOTS_PER_INCH = 150


def new_figure(width_inch: float, height_inch: float) -> Figure:
    """An empty figure; the plotting library is loaded here, since it is slow to load."""
    logging.getLogger("matplotlib").setLevel(logging.ERROR)  # it tells of its font cache on stderr
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure as Drawing

    figure = Drawing(figsize=(width_inch, height_inch), dpi=_DOTS_PER_INCH, layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def dress(axes: Axes, title: str, x_words: str, y_words: str) -> None:
    """Title on the left, words at the axes, a faint grid."""
    axes.set_title(title, loc="left", fontweight="bold", fontsize=10, parse_math=False)
    axes.set_xlabel(x_words, loc="left", fontsize=9, parse_math=False)
    axes.set_ylabel(y_words, fontsize=9, parse_math=False)
    axes.grid(True, color="#cccccc", linewidth=0.5)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=8)


def plain_legend(axes: Axes, **how: Any) -> None:
    """A legend whose names are names: a dollar sign is a dollar sign."""
    for text in axes.legend(fontsize=8, framealpha=0.9, **how).get_texts():
        text.set_parse_math(False)


def short(name: str, letters: int = 12) -> str:
    """A name that fits under an axis; one that begins with _ would be left out of a legend."""
    name = f" {name}" if name.startswith("_") else name
    return name if len(name) <= letters else name[: letters - 1] + "…"


def as_png(figure: Figure) -> bytes:
    """The figure as a PNG; the same figure gives the same bytes."""
    return _saved(figure, "png")


def as_jpeg(figure: Figure) -> tuple[bytes, int, int]:
    """The figure as a JPEG for a report, and its width and height in px."""
    from PIL import Image

    with Image.open(io.BytesIO(_saved(figure, "png"))) as image:
        plain = image.convert("RGB")
    stream = io.BytesIO()
    plain.save(stream, "JPEG", quality=92, subsampling=0)
    return stream.getvalue(), plain.width, plain.height


def _saved(figure: Figure, form: Literal["png"]) -> bytes:
    stream = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a letter that the font lacks is drawn as a box
        figure.savefig(stream, format=form, metadata={"Software": None})
    return stream.getvalue()
