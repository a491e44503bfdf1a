"""Draw what the phone page shows besides words: icons of the app, and a picture for every remedy.

python docs/make_phone_art.py      # writes fitup/phone/static/icons and fitup/phone/static/pictures
"""

from __future__ import annotations

from pathlib import Path

from PIL import Image, ImageDraw

STATIC = Path(__file__).parents[1] / "fitup" / "phone" / "static"
INK, PAPER, PLATE, PLATE_DARK, GLOW, VERMILLION = (
    "#111111",
    "#ffffff",
    "#d9dcdf",
    "#9aa0a6",
    "#ffd75e",
    "#d55e00",
)
SIDE = 512  # of the app's icon
FINER = 4

# The icon: two plates with the gap between them, and the limit as two ticks beside it. (colour, outline)
PLATES = (
    (PAPER, ((70, 150), (222, 150), (206, 362), (70, 362))),
    (PAPER, ((442, 150), (290, 150), (290, 362), (442, 362))),
    (VERMILLION, ((222, 150), (290, 150), (290, 362), (206, 362))),
    (PAPER, ((202, 92), (214, 92), (214, 132), (202, 132))),
    (PAPER, ((298, 92), (310, 92), (310, 132), (298, 132))),
    (PAPER, ((214, 106), (298, 106), (298, 118), (214, 118))),
)


def icon_svg() -> str:
    """The icon as SVG."""
    shapes = "".join(
        f'<polygon points="{" ".join(f"{x},{y}" for x, y in points)}" fill="{colour}"/>'
        for colour, points in PLATES
    )
    ground = f'<rect width="{SIDE}" height="{SIDE}" rx="96" fill="{INK}"/>'
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIDE} {SIDE}">{ground}{shapes}</svg>\n'


def icon_png(side: int, *, maskable: bool) -> Image.Image:
    """The same as pixels; a maskable one fills the square and keeps the drawing in its middle."""
    big = side * FINER
    picture = Image.new("RGBA", (big, big), (0, 0, 0, 0))
    pen = ImageDraw.Draw(picture)
    scale = big / SIDE
    if maskable:
        pen.rectangle((0, 0, big, big), fill=INK)
    else:
        pen.rounded_rectangle((0, 0, big - 1, big - 1), radius=96 * scale, fill=INK)
    share = 0.78 if maskable else 1.0
    middle = SIDE / 2

    def at(x: float, y: float) -> tuple[float, float]:
        return (middle + (x - middle) * share) * scale, (middle + (y - middle) * share) * scale

    for colour, points in PLATES:
        pen.polygon([at(x, y) for x, y in points], fill=colour)
    return picture.resize((side, side), Image.Resampling.LANCZOS)


def rect(x: float, y: float, w: float, h: float, fill: str, more: str = "") -> str:
    """A filled rectangle."""
    return f'<rect x="{x}" y="{y}" width="{w}" height="{h}" fill="{fill}" {more}/>'


def line(d: str, width: float = 2.5, colour: str = INK, more: str = "") -> str:
    """A stroked path."""
    return (
        f'<path d="{d}" fill="none" stroke="{colour}" stroke-width="{width}" stroke-linejoin="round" {more}/>'
    )


def filled(d: str, colour: str = INK, more: str = "") -> str:
    """A filled path."""
    return f'<path d="{d}" fill="{colour}" {more}/>'


def arrow(x1: float, y1: float, x2: float, y2: float, colour: str = VERMILLION) -> str:
    """An arrow from one point to another."""
    length = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
    ux, uy = (x2 - x1) / length, (y2 - y1) / length
    bx, by = x2 - 9 * ux, y2 - 9 * uy
    head = f"M{x2:.1f} {y2:.1f}L{bx - 6 * uy:.1f} {by + 6 * ux:.1f}L{bx + 6 * uy:.1f} {by - 6 * ux:.1f}Z"
    return line(f"M{x1} {y1}L{bx:.1f} {by:.1f}", 4, colour) + filled(head, colour)


def from_above() -> str:
    """Two plates with a joint between them."""
    plates = rect(0, 0, 160, 120, PLATE) + line("M0 52H160", 3)
    return plates + filled("M70 50.5Q82 48 94 50.5V53.5Q82 56 70 53.5Z")


def strip(x: float, y: float, w: float, *, up: bool = True) -> str:
    """The printed strip with its checker, and the arrow to the joint."""
    cell = 6.0
    drawn = rect(x, y, w, 2 * cell + 8, PAPER, f'stroke="{INK}" stroke-width="1.5"')
    for k in range(int((w - 8) / cell)):
        drawn += rect(x + 4 + k * cell, y + 4 + (k % 2) * cell, cell, cell, INK)
    middle = x + w / 2
    tip, foot = (y - 9, y - 1) if up else (y + 2 * cell + 17, y + 2 * cell + 9)
    return drawn + filled(f"M{middle} {tip}L{middle - 6} {foot}H{middle + 6}Z")


def frame(x: float, y: float, w: float, h: float, colour: str = VERMILLION) -> str:
    """What the camera takes in: four corners."""
    c = 12
    return line(
        f"M{x} {y + c}V{y}H{x + c}M{x + w - c} {y}H{x + w}V{y + c}M{x + w} {y + h - c}V{y + h}H{x + w - c}"
        f"M{x + c} {y + h}H{x}V{y + h - c}",
        4,
        colour,
    )


def from_the_side() -> str:
    """The plates in section, the gap in the middle."""
    return (
        rect(0, 0, 160, 120, "#f4f4f2")
        + rect(0, 98, 76, 10, PLATE_DARK, f'stroke="{INK}" stroke-width="1.5"')
        + rect(82, 98, 78, 10, PLATE_DARK, f'stroke="{INK}" stroke-width="1.5"')
    )


def phone(y: float, *, turn: float = 0.0) -> str:
    """A phone from its side, the camera's view down to the joint."""
    return (
        f'<g transform="rotate({turn} 79 98)">'
        + filled(f"M79 {y + 8}L50 97H108Z", GLOW, 'opacity=".75"')
        + rect(46, y, 66, 9, INK, 'rx="4"')
        + rect(72, y + 8, 14, 4, INK)
        + "</g>"
    )


def lamp(x: float, y: float, aim: float, colour: str = GLOW) -> str:
    """A lamp with its light; `aim` turns it."""
    return (
        f'<g transform="translate({x} {y}) rotate({aim})">'
        + filled("M-9 8L-26 56H26L9 8Z", colour, 'opacity=".8"')
        + filled("M-15 8H15L9 -8H-9Z")
        + "</g>"
    )


def hand(x: float, flip: int) -> str:
    """A hand at one side of the phone."""
    return (
        f'<g transform="translate({x} 40) scale({flip} 1)">'
        + filled(
            "M0 26Q-4 6 10 6L34 6Q38 12 32 14L18 15V40Q6 42 0 26Z",
            "#c9a27d",
            f'stroke="{INK}" stroke-width="2"',
        )
        + "</g>"
    )


PICTURES = {
    "closer": from_the_side()
    + phone(44)
    + arrow(136, 12, 136, 40)
    + line("M20 50V96M14 50H26M14 96H26", 2)
    + '<text x="25" y="77" font-family="sans-serif" font-size="13" font-weight="bold">20–25</text>',
    "steady": from_the_side()
    + phone(40)
    + hand(13, 1)
    + hand(145, -1)
    + line("M70 92h-10m34 0h10M76 84v-8", 3, VERMILLION),
    "square": from_the_side()
    + f'<g opacity=".28">{phone(30, turn=34)}</g>'
    + phone(30)
    + line("M79 44V96", 2, VERMILLION, 'stroke-dasharray="5 4"')
    + line("M79 86h10v12", 2, VERMILLION),
    "slant": rect(0, 0, 160, 120, "#f4f4f2")
    + rect(0, 98, 160, 10, PLATE_DARK, f'stroke="{INK}" stroke-width="1.5"')
    + rect(50, 28, 10, 66, PLATE_DARK, f'stroke="{INK}" stroke-width="1.5"')
    + filled("M117 56L60 66V95L94 97Z", GLOW, 'opacity=".75"')
    + '<g transform="translate(122 52) rotate(60)">'
    + rect(-33, -5, 66, 9, INK, 'rx="4"')
    + rect(-7, 3, 14, 4, INK)
    + "</g>"
    + line("M120 96A62 62 0 0 0 109 64", 3, VERMILLION)
    + line("M62 96H140", 2, VERMILLION, 'stroke-dasharray="5 4"'),
    "lamp": from_the_side()
    + f'<g opacity=".3">{lamp(26, 30, -32)}</g>'
    + lamp(134, 30, 32)
    + line("M44 16Q80 -6 112 14", 4, VERMILLION)
    + filled("M118 20L104 18L114 7Z", VERMILLION),
    "light": from_the_side()
    + lamp(40, 26, -14)
    + lamp(120, 26, 14)
    + line("M79 6v20M69 16h20", 4, VERMILLION),
    "darker": rect(0, 0, 160, 120, "#f4f4f2")
    + rect(36, 6, 88, 108, PAPER, f'rx="9" stroke="{INK}" stroke-width="4"')
    + rect(44, 20, 72, 80, "#8d9297")
    + line("M44 58H116", 3)
    + f'<circle cx="84" cy="42" r="13" fill="none" stroke="{VERMILLION}" stroke-width="3"/>'
    + filled("M84 44L100 82L91 80L84 88L78 84L83 76L74 72Z", PAPER, f'stroke="{INK}" stroke-width="2"'),
    "strip": from_above() + strip(22, 76, 116) + frame(8, 30, 144, 76),
    "flat": from_the_side()
    + line("M18 96Q48 78 78 96", 5, PLATE_DARK, 'stroke-dasharray="4 4"')
    + rect(14, 92, 62, 5, PAPER, f'stroke="{INK}" stroke-width="2"')
    + rect(14, 80, 12, 12, INK)
    + rect(64, 80, 12, 12, INK)
    + arrow(20, 46, 20, 74)
    + arrow(70, 46, 70, 74),
    "clear": from_above()
    + strip(22, 84, 116)
    + line("M58 60Q66 40 80 56T104 44", 4, INK)
    + rect(108, 40, 20, 24, "#6b7075", f'rx="3" stroke="{INK}" stroke-width="2"')
    + arrow(118, 38, 134, 12)
    + arrow(76, 46, 66, 16),
    "whole": from_above()
    + strip(22, 76, 116)
    + frame(4, 8, 152, 104)
    + arrow(60, 52, 10, 52)
    + arrow(100, 52, 150, 52),
    "original": rect(0, 0, 160, 120, "#f4f4f2")
    + rect(14, 16, 60, 88, PAPER, f'rx="8" stroke="{INK}" stroke-width="4"')
    + rect(20, 28, 48, 62, PLATE)
    + line("M20 54H68", 3)
    + strip(25, 66, 38)
    + arrow(82, 60, 108, 60)
    + filled("M114 24H138L148 34V98H114Z", PAPER, f'stroke="{INK}" stroke-width="3"')
    + line("M120 60h22", 3)
    + strip(119, 70, 24),
    "two": from_above() + strip(22, 78, 116) + strip(22, 8, 116, up=False),
    "ends": from_above()
    + strip(22, 84, 116)
    + "".join(
        f'<circle cx="{x}" cy="52" r="11" fill="none" stroke="{VERMILLION}" stroke-width="4"/>'
        + filled(f"M{x} 54l15 34-9-2-7 8-5-4 5-8-8-4z", PAPER, f'stroke="{INK}" stroke-width="2"')
        for x in (16, 134)
    ),
}


def main() -> None:
    """Write all of them."""
    (STATIC / "icons").mkdir(parents=True, exist_ok=True)
    (STATIC / "pictures").mkdir(parents=True, exist_ok=True)
    (STATIC / "icons" / "icon.svg").write_text(icon_svg(), encoding="utf-8")
    for name, side, maskable in (
        ("icon-192", 192, False),
        ("icon-512", 512, False),
        ("maskable-512", 512, True),
    ):
        icon_png(side, maskable=maskable).save(STATIC / "icons" / f"{name}.png", optimize=True)
    for name, drawn in PICTURES.items():
        content = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 160 120">{drawn}</svg>\n'
        (STATIC / "pictures" / f"{name}.svg").write_text(content, encoding="utf-8")


if __name__ == "__main__":
    main()
