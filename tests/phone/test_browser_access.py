"""Everybody can use the page: axe-core on every page in both languages, keyboard, sizes, motion, colours."""

from __future__ import annotations

import csv
import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from fitup.evidence.palette import contrast
from fitup.phone.page_colours import NOT_TEXT, TEXTS
from tests.phone.browsing import ROOT, Shop, photograph, picture, ready

if TYPE_CHECKING:
    from playwright.sync_api import Page

AXE = ROOT / "out" / "axe" / "node_modules" / "axe-core" / "axe.min.js"
PUBLISHED = ROOT.parent / "shared" / "data" / "wcag_contrast.csv"
LEAST_PX = 56  # a gloved finger
RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "resultTypes": ["violations"],
}
# The page's policy keeps foreign scripts out; axe comes in by the debugger.
RUN_AXE = """async (options) => {
  const { violations, passes } = await axe.run(document, options);
  if (passes.length < 15) throw new Error("axe looked at too little");
  const places = (one) => one.nodes.map((node) => node.target.join(" ")).join(", ");
  return violations.map((one) => `${one.impact}: ${one.id}: ${places(one)}`);
}"""
SMALL = """(least) => [...document.querySelectorAll("a[href], button, input, select, textarea, summary")]
  .filter((one) => one.checkVisibility() && one.getBoundingClientRect().width && !one.closest(".beside"))
  .filter((one) => !one.matches(".skip, .sr, [type=hidden], [type=checkbox]"))
  .map((one) => [one.outerHTML.slice(0, 90), one.getBoundingClientRect()])
  .filter(([, box]) => box.height < least - 0.5 || box.width < least - 0.5)
  .map(([told, box]) => `${told} ${Math.round(box.width)}x${Math.round(box.height)}`)"""


@pytest.fixture(scope="module")
def pages(shop: Shop) -> list[str]:
    """Addresses of all pages, with all that can be on them."""
    page = shop.phone("Luz", "welder")
    found = ["/", "/settings", "/cautions", "/offline", "/j/J1?job=RT-40", "/qc", "/qc/verify", "/qc/lenses"]
    for joint, photo in (
        ("J2", "hostile/h01_clean.jpg"),
        ("J7", "hostile/h22_tacks_and_clamp.jpg"),
        ("J3", "hostile/h17_layout_lines.jpg"),
    ):
        page.goto(f"/j/{joint}?job=RT-40")
        photograph(page, photo)
        found += [page.url.removeprefix(shop.base), f"/j/{joint}?job=RT-40"]
    page.context.close()
    shop.contexts.remove(page.context)
    return [*found, "/qc/1", "/nowhere"]


@pytest.fixture(params=["en", "es"])
def phone(request: pytest.FixtureRequest, shop: Shop) -> Iterator[Page]:
    page = shop.phone("Ida", "qc", language=request.param, bypass_csp=False)
    yield page
    page.context.close()
    shop.contexts.remove(page.context)


def test_axe_finds_nothing_serious(shop: Shop, phone: Page, pages: list[str]) -> None:
    if not AXE.is_file():
        pytest.skip("axe-core is not installed here: make debian-test-data installs it where npm is")
    axe, wrong = AXE.read_text(encoding="utf-8"), []
    for address in pages:
        phone.goto(address)
        ready(phone)
        phone.evaluate("() => document.querySelectorAll('details').forEach((one) => (one.open = true))")
        phone.wait_for_timeout(100)
        phone.evaluate(axe)
        wrong += [f"{address}: {one}" for one in phone.evaluate(RUN_AXE, RULES)]
    stranger = shop.watched(shop.context().new_page())
    for address in ("/pair", shop.pairing_link("Eva", "fitter")):
        stranger.goto(address)
        stranger.evaluate(axe)
        wrong += [f"{address}: {one}" for one in stranger.evaluate(RUN_AXE, RULES)]
    assert not [one for one in wrong if ": serious" in one or ": critical" in one]
    assert not wrong, "moderate and minor ones are put right too"


def test_what_is_tapped_is_large_and_nothing_is_cut_off(phone: Page, pages: list[str]) -> None:
    small, wide = [], []
    for address in pages:
        for width in (390, 320):
            phone.set_viewport_size({"width": width, "height": 800})
            phone.goto(address)
            phone.evaluate("() => document.querySelectorAll('details').forEach((one) => (one.open = true))")
            small += [f"{address} {one}" for one in phone.evaluate(SMALL, LEAST_PX)]
            if phone.evaluate("document.documentElement.scrollWidth > innerWidth"):
                wide.append(f"{address} at {width}")
    assert not small, "\n".join(small)
    assert not wide


def test_by_keyboard_alone(shop: Shop, pages: list[str]) -> None:
    """The way to a spot and its closer view without a finger; what has the focus is seen."""
    page = shop.phone("Kim", "fitter", has_touch=False, is_mobile=False)
    page.goto("/j/J2?job=RT-40")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    camera = page.locator("[data-camera]").first
    for _ in range(12):
        page.keyboard.press("Tab")
        if camera.evaluate("(one) => one === document.activeElement"):
            break
    outline = page.locator("label.button.primary").evaluate("(one) => getComputedStyle(one).outlineStyle")
    assert outline == "solid"
    for _ in range(12):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.matches('a.spot.is-over')"):
            break
    picture(page, "50_focus")
    page.keyboard.press("Enter")
    page.wait_for_url("**/r/*")
    ready(page)
    spot = page.locator("button.spot.is-over")
    assert spot.get_attribute("aria-pressed") == "true"
    spot.press("Enter")
    assert spot.get_attribute("aria-pressed") == "false"


def test_without_motion_for_those_who_ask(shop: Shop, pages: list[str]) -> None:
    page = shop.phone("Kim", "fitter", reduced_motion="reduce")
    page.goto(next(one for one in pages if one.startswith("/r/")))
    ready(page)
    page.locator("button.spot.is-over").tap()
    told = page.locator("[data-photo] svg").get_attribute("viewBox")
    page.wait_for_timeout(50)
    assert page.locator("[data-photo] svg").get_attribute("viewBox") == told


def test_words_on_their_grounds() -> None:
    """WCAG 2.2: 7:1 for words (AAA), 3:1 for marks that carry meaning."""
    assert {name: pair for name, pair in TEXTS.items() if contrast(*pair) < 7} == {}
    assert {name: pair for name, pair in NOT_TEXT.items() if contrast(*pair) < 3} == {}


def test_the_style_has_no_other_colours() -> None:
    style = Path(ROOT / "fitup" / "phone" / "static" / "page.css").read_text(encoding="utf-8")
    for name, (ink, ground) in {**TEXTS, **NOT_TEXT}.items():
        for colour in (ink, ground):
            short = f"#{colour[1]}{colour[3]}{colour[5]}" if colour[1::2] == colour[2::2] else colour
            assert colour in style or short in style or colour in ("#000000", "#ffffff"), name


@pytest.mark.skipif(not PUBLISHED.is_file(), reason="the published contrast numbers are not here")
def test_contrast_against_published_numbers() -> None:
    """Two independent libraries' numbers for pairs of colours, as their table lists them."""
    with PUBLISHED.open(encoding="utf-8") as file:
        rows = list(
            csv.DictReader(line for line in file if not line.startswith("#,") and not line.startswith("# "))
        )
    assert len(rows) > 20
    for row in rows:
        ratio = contrast(row["foreground"], row["background"])
        assert ratio == pytest.approx(float(row["ratio_wcag_contrast_ratio"]), abs=6e-4), row
        assert (ratio >= 7) == (row["AAA_text"] == "1")


def test_sha256_of_our_own(shop: Shop, pages: list[str]) -> None:
    """For pages without certificate: FIPS 180-4's examples, and Python's digests around a block's length."""
    page = shop.phone("Kim", "fitter")
    page.goto("/")
    script = page.locator("script[type=module]").get_attribute("src").replace("page.js", "sha256.js")  # type: ignore[union-attr]
    told = page.evaluate(
        """async (address) => {
          const { plainSha256 } = await import(address);
          const of = (text) => plainSha256(new TextEncoder().encode(text).buffer);
          const lengths = [0, 1, 55, 56, 57, 63, 64, 65, 119, 120, 128, 1000, 65537];
          const filled = (length) => Uint8Array.from({ length }, (_, k) => (k * 7) % 251).buffer;
          return [of("abc"), of("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
            ...lengths.map((one) => plainSha256(filled(one)))];
        }""",
        script,
    )
    lengths = [0, 1, 55, 56, 57, 63, 64, 65, 119, 120, 128, 1000, 65537]
    ours = [hashlib.sha256(bytes((k * 7) % 251 for k in range(one))).hexdigest() for one in lengths]
    assert told[0] == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert told[1] == "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    assert told[2:] == ours


def test_installable(shop: Shop, pages: list[str]) -> None:
    """The browser itself finds nothing that keeps the page from the home screen."""
    page = shop.phone("Kim", "fitter")
    page.goto("/")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    session = page.context.new_cdp_session(page)
    manifest = session.send("Page.getAppManifest")
    assert manifest["errors"] == []
    assert json.loads(manifest["data"])["display"] == "standalone"
    found = session.send("Page.getInstallabilityErrors")["installabilityErrors"]
    assert [one["errorId"] for one in found if one["errorId"] != "in-incognito"] == []
