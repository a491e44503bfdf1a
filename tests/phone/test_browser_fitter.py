"""The fitter's story in a real browser: paired, photographed, told where to re-fixture."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

from tests.phone.browsing import PHOTOS, Shop, photograph, picture, ready

if TYPE_CHECKING:
    from playwright.sync_api import Page

SPOT = re.compile(
    r"Re-fixture (\d+)\u2060–\u2060(\d+)\smm from the datum mark: gap 1\.2\d\smm, limit 0\.90\smm"
)


@pytest.fixture(scope="module")
def fitter(shop: Shop) -> Page:
    return shop.phone("Ana", "fitter")


@pytest.fixture(autouse=True)
def no_faults(shop: Shop) -> object:
    yield
    assert not shop.faults


def box(page: Page) -> list[float]:
    told = page.locator("[data-photo] svg").get_attribute("viewBox")
    assert told
    return [float(one) for one in told.split()]


def settled_box(page: Page) -> list[float]:
    """What is shown when nothing moves any more."""
    before, now = [0.0], box(page)
    while before != now:
        page.wait_for_timeout(250)
        before, now = now, box(page)
    return now


def test_pairing_by_the_code_on_the_shop_computer(shop: Shop) -> None:
    screen = shop.watched(shop.context(viewport={"width": 1100, "height": 900}, is_mobile=False).new_page())
    known = [{"name": key, "value": one, "url": shop.base} for key, one in shop.screen.cookies.items()]
    screen.context.add_cookies(known)
    screen.goto("/screen")
    screen.get_by_label("Name of the person").fill("Luz")
    screen.get_by_text("Welder", exact=True).click()
    screen.get_by_role("button", name="Show the code").click()
    link = screen.locator("main a[href*='/pair/']").get_attribute("href")
    assert link
    picture(screen, "02_screen")
    phone = shop.watched(shop.context().new_page())
    phone.goto("/")
    assert phone.url.endswith("/pair")
    picture(phone, "01_stranger")
    phone.goto(link)
    picture(phone, "03_pair")
    phone.get_by_role("button", name="Pair this phone").tap()
    phone.get_by_role("heading", name="Joints").wait_for()
    assert "Luz" in phone.locator("header").inner_text()


def test_photo_to_spots(shop: Shop, fitter: Page) -> None:
    page = fitter
    page.goto("/")
    page.get_by_label("Find a joint").fill("j2")
    assert page.locator("li[data-name]:visible").count() == 1
    page.get_by_role("link", name=re.compile("J2")).tap()
    assert page.locator("[data-camera]").first.get_attribute("capture") == "environment"
    picture(page, "05_joint_new")
    photograph(page, "02_one_opening.jpg")
    said = page.locator(".verdict").inner_text()
    assert "RE‑FIXTURE" in said
    assert SPOT.search(said.replace("‑", "-"))
    picture(page, "06_result")


def test_a_tapped_spot_is_shown_in_photo_and_profile(shop: Shop, fitter: Page) -> None:
    page = fitter
    whole = settled_box(page)
    spot = page.locator("button[data-spot].is-over")
    told = SPOT.search(spot.inner_text())
    assert told
    spot.tap()
    close = settled_box(page)
    assert close[2] < 0.3 * whole[2]
    start, end = float(told[1]), float(told[2])
    middle = page.evaluate(
        """async ([start, end]) => {
          const data = await (await fetch(document.querySelector("[data-profile]").dataset.profile)).json();
          const k = data.at.findIndex((one) => one >= (start + end) / 2);
          return data.photo.line[k];
        }""",
        [start, end],
    )
    assert close[0] < middle[0] < close[0] + close[2]
    assert close[1] < middle[1] < close[1] + close[3]
    places = [float(one) for one in page.locator("[data-chart] text").all_text_contents() if one.isdigit()]
    shown = [one for one in places if one > 20]
    assert min(shown) > start - 30
    assert max(shown) < end + 30
    assert spot.get_attribute("aria-pressed") == "true"
    page.locator("[data-photo] image[href*=box]").wait_for()  # the closer picture
    picture(page, "07_spot")
    spot.tap()
    assert settled_box(page)[2] == pytest.approx(whole[2])


def test_keys_fingers_and_readings(shop: Shop, fitter: Page) -> None:
    page = fitter
    whole = settled_box(page)
    view = page.locator("[data-photo] svg")
    view.focus()
    page.keyboard.press("+")
    page.keyboard.press("ArrowRight")
    nearer = box(page)
    assert nearer[2] < whole[2]
    assert nearer[0] > whole[0]
    page.keyboard.press("0")
    assert settled_box(page)[2] == pytest.approx(whole[2])
    pinch(page)
    assert settled_box(page)[2] < 0.8 * whole[2]
    page.get_by_role("button", name="Whole photo").tap()
    chart = page.locator("[data-chart]")
    frame = chart.bounding_box()
    assert frame
    chart.tap(position={"x": frame["width"] * 0.59, "y": frame["height"] / 2})
    readout = page.locator("[data-readout]")
    assert re.search(r"At 1[01]\d mm: \d\.\d\d ± \d\.\d\d mm, ", readout.inner_text())
    before = readout.inner_text()
    chart.focus()
    page.keyboard.press("ArrowRight")
    assert readout.inner_text() != before


def pinch(page: Page) -> None:
    """Two fingers that move apart on the photo."""
    page.locator("[data-photo]").scroll_into_view_if_needed()
    frame = page.locator("[data-photo]").bounding_box()
    assert frame
    x, y = frame["x"] + frame["width"] / 2, frame["y"] + frame["height"] / 2
    session = page.context.new_cdp_session(page)
    for kind, apart in (("touchStart", 30), ("touchMove", 60), ("touchMove", 110)):
        points = [{"x": x - apart, "y": y, "id": 1}, {"x": x + apart, "y": y, "id": 2}]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def test_spanish_and_inches_are_chosen_on_the_phone(shop: Shop, fitter: Page) -> None:
    page = fitter
    result = page.url
    page.goto("/settings")
    picture(page, "08_settings")
    page.get_by_label("Español").tap()
    page.get_by_label("Inches").tap()
    page.get_by_role("button", name="Keep").tap()
    page.locator("html[lang=es]").wait_for()
    page.goto(result)
    ready(page)
    said = page.locator(".spots .is-over").inner_text()
    assert re.search(
        r"Reajustar \d\.\d\d\u2060–\u2060\d\.\d\d\sin desde la marca cero: "
        r"separación 0\.04\d\sin, límite 0\.035\sin",
        said,
    )
    picture(page, "09_result_es_inch")
    page.goto("/settings")
    page.get_by_label("English").tap()
    page.get_by_label("Milímetros").tap()
    page.get_by_role("button", name="Guardar").tap()
    page.locator("html[lang=en]").wait_for()


def test_joint_not_found_is_tapped(shop: Shop, fitter: Page) -> None:
    page = fitter
    page.goto("/j/J3?job=RT-40")
    photograph(page, "hostile/h17_layout_lines.jpg")
    assert "/s/" in page.url
    assert "More than one line looks like a gap." in page.locator(".verdict").inner_text()
    assert page.locator(".remedies img").count() >= 1
    view = page.locator("[data-ends] svg.view image").first
    view.wait_for()
    page.wait_for_timeout(500)
    picture(page, "10_not_found")
    send = page.get_by_role("button", name="Measure again")
    assert send.is_disabled()
    view = page.locator("[data-ends] svg.view")
    frame = view.bounding_box()
    assert frame
    for share in true_ends("hostile/h17_layout_lines"):
        view.tap(position={"x": frame["width"] * share[0], "y": frame["height"] * share[1]})
    picture(page, "11_ends")
    send.tap()
    page.wait_for_url("**/s/*")
    page.wait_for_url("**/r/*")
    ready(page)
    assert page.locator(".verdict .word").inner_text().lower() == "re‑fixture"
    picture(page, "12_measured_again")


def true_ends(scene: str) -> list[np.ndarray]:
    """Where two places of a rendered joint are in its photo, as shares of width and height."""
    truth = json.loads((PHOTOS / f"{scene}.truth.json").read_text(encoding="utf-8"))
    camera, stations = truth["camera"], truth["stations"]
    turn, place = np.array(camera["rotation_target_to_camera"]), np.array(camera["position_mm"])
    middle = (np.array(stations["near_xyz_mm"]) + np.array(stations["far_xyz_mm"])) / 2
    seen = (middle - place) @ turn.T @ np.array(camera["camera_matrix"]).T
    share = seen[:, :2] / seen[:, 2:] / np.array(camera["size_px"])
    along = np.array(stations["s_mm"])
    return [share[np.argmin(abs(along - at))] for at in (2.0, 52.0)]


def test_a_photo_without_strip_says_what_to_do(shop: Shop, fitter: Page, tmp_path: Path) -> None:
    Image.effect_noise((1600, 1200), 40).save(tmp_path / "IMG_77.jpg", quality=90)
    page = fitter
    page.goto("/j/J3?job=RT-40")
    photograph(page, tmp_path / "IMG_77.jpg")
    assert "The strip was not found in the photo." in page.locator(".verdict").inner_text()
    picture(page, "13_retake")


def test_an_unseen_joint_is_no_fine_joint(shop: Shop, fitter: Page) -> None:
    page = fitter
    page.goto("/j/J1?job=RT-40")
    photograph(page, "06_hairline.jpg")
    assert page.locator(".verdict .word").inner_text().lower() == "retake"
    picture(page, "14_unseen")


def test_the_list_tells_by_shape_and_word(shop: Shop, fitter: Page) -> None:
    page = fitter
    page.goto("/")
    row = page.get_by_role("link", name=re.compile("J2"))
    assert "Re‑fixture" in row.inner_text()
    assert row.locator("svg").count() == 1
    picture(page, "04_joints")
