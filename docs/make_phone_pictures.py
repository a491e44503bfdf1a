"""Make `docs/phone.jpg` anew: the phone page as Chromium shows it on a phone, with demo photos.

python docs/make_phone_pictures.py     # needs Chromium and playwright, as the browser tests do
"""

from __future__ import annotations

import re
import sys
import tempfile
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from tests.phone import browsing  # noqa: E402

HEIGHT_PX, APART_PX, MOST_BYTES = 1180, 26, 200_000
GROUND = "#d9dcdf"


def main() -> None:
    """Photograph three joints as a fitter and keep the list, a result and a spot seen close."""
    with tempfile.TemporaryDirectory() as name, browsing.browser() as opened:
        folder = Path(name)
        with browsing.shop(folder, opened) as shop:
            shown = [folder / f"{k}.png" for k in range(3)]
            page = shop.phone("K. M.", "fitter", viewport={"width": 390, "height": 1000})
            for joint, photo in (("J1", "01_good_fit"), ("J7", "07_tacks"), ("J2", "02_one_opening")):
                page.goto(f"/j/{joint}?job=RT-40")
                browsing.photograph(page, f"{photo}.jpg")
            page.wait_for_timeout(800)
            page.screenshot(path=shown[1])
            page.locator("button[data-spot].is-over").tap()
            page.locator("[data-photo] image[href*=box]").wait_for()
            page.wait_for_timeout(900)
            page.screenshot(path=shown[2])
            page.goto("/")
            page.get_by_role("link", name=re.compile("J2")).wait_for()
            page.screenshot(path=shown[0])
            _keep([Image.open(path).convert("RGB") for path in shown], ROOT / "docs" / "phone.jpg")


def _keep(pictures: list[Image.Image], path: Path) -> None:
    small = [
        one.resize((round(one.width * HEIGHT_PX / one.height), HEIGHT_PX), Image.Resampling.LANCZOS)
        for one in pictures
    ]
    width = sum(one.width for one in small) + APART_PX * (len(small) + 1)
    sheet = Image.new("RGB", (width, HEIGHT_PX + 2 * APART_PX), GROUND)
    left = APART_PX
    for one in small:
        sheet.paste(one, (left, APART_PX))
        left += one.width + APART_PX
    for quality in range(88, 40, -4):
        sheet.save(path, quality=quality, optimize=True)
        if path.stat().st_size <= MOST_BYTES:
            return


if __name__ == "__main__":
    main()
