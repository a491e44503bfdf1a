"""The welder's and quality control's stories in a real browser."""

from __future__ import annotations

import re
import zipfile
from typing import TYPE_CHECKING

import pytest

from tests.phone.browsing import PHOTOS, Shop, eventually, photograph, picture

if TYPE_CHECKING:
    from playwright.sync_api import Page


@pytest.fixture(scope="module")
def welder(shop: Shop) -> Page:
    return shop.phone("Luz", "welder")


@pytest.fixture(scope="module")
def quality(shop: Shop) -> Page:
    return shop.phone("Ida", "qc", accept_downloads=True)


@pytest.fixture(autouse=True)
def no_faults(shop: Shop) -> object:
    yield
    assert not shop.faults


def test_before_and_after(welder: Page) -> None:
    page = welder
    for photo in ("02_one_opening.jpg", "01_good_fit.jpg"):
        page.goto("/j/J2?job=RT-40")
        photograph(page, photo)
    assert page.locator(".verdict .word").inner_text().lower() == "within"
    assert not re.search(r"\bto weld\b|\bok\b", page.inner_text("main"), re.IGNORECASE)
    page.goto("/j/J2?job=RT-40")
    compared = page.locator("section[aria-labelledby=compared]")
    assert "Re‑fixture" in compared.inner_text()
    assert "Within now" in compared.inner_text()
    assert len(re.findall(r"\d\.\d\d\s±\s0\.\d\d\smm", compared.inner_text())) == 2
    assert page.locator("section[aria-labelledby=history] li").count() == 1
    picture(page, "20_before_after")


def test_feeler_reading_settles_a_spot(welder: Page) -> None:
    page = welder
    page.goto("/j/J7?job=RT-40")
    photograph(page, "07_tacks.jpg")
    spots = page.locator("button[data-spot]")
    before = spots.count()
    assert page.locator(".verdict .word").inner_text().lower() == "gauge"
    page.get_by_role("link", name="Feeler reading").tap()
    form = page.locator("#feeler form").first
    eventually(lambda: form.locator("[name=from]").input_value())  # the page's script writes it
    form.get_by_label("Blades").fill("0,60 + 0.50")
    form.get_by_label("does not go in").check()
    picture(page, "21_feeler")
    with page.expect_navigation():
        form.get_by_role("button", name="Keep the reading").tap()
    assert page.locator("a.spot").count() == before - 1
    assert re.search(r"0\.60\smm \+\s0\.50\smm does not go in", page.locator("#feeler").inner_text())
    picture(page, "22_settled")
    form = page.locator("#feeler form").first
    form.get_by_label("Blades").fill("thick")
    form.get_by_label("does not go in").check()
    form.get_by_role("button", name="Keep the reading").tap()
    answer = form.locator(".answer")
    answer.filter(has_text="thick").wait_for()


def test_outcome_with_a_photo(welder: Page) -> None:
    page = welder
    page.goto("/j/J2?job=RT-40")
    page.get_by_text("Note what came of it").tap()
    form = page.locator("#outcome form")
    form.get_by_label("repaired").check()
    form.get_by_label("Colour of the bead").fill("straw")
    form.get_by_label("Penetration").select_option("partial")
    form.get_by_label("Note").fill("two pores, ground out")
    form.get_by_label("Photo of the weld").set_input_files(PHOTOS / "03_short_opening.jpg")
    picture(page, "23_outcome")
    with page.expect_navigation():
        form.get_by_role("button", name="Keep the outcome").tap()
    told = page.locator("#outcome").inner_text()
    assert "repaired" in told
    assert "two pores, ground out" in told
    page.locator("#outcome img").scroll_into_view_if_needed()
    eventually(lambda: page.locator("#outcome img").evaluate("(image) => image.naturalWidth > 100"))


def test_a_fitter_is_offered_neither(shop: Shop) -> None:
    page = shop.phone("Ana", "fitter")
    page.goto("/j/J2?job=RT-40")
    assert page.locator("#feeler, #outcome").count() == 0
    assert page.get_by_role("link", name="Records").count() == 0
    assert page.goto("/qc").status == 403  # type: ignore[union-attr]
    assert "This did not work" in page.inner_text("main")


def test_search_record_report_export(quality: Page, tmp_path_factory: pytest.TempPathFactory) -> None:
    page, folder = quality, tmp_path_factory.mktemp("downloads")
    page.goto("/qc")
    picture(page, "30_records")
    page.get_by_label("Words").fill("burr that nobody saw")
    page.get_by_role("button", name="Search").tap()
    page.get_by_text("Nothing found.").wait_for()
    page.goto("/qc?joint=J2&verdict=re-fixture")
    page.locator("a.row").first.tap()
    page.wait_for_url(re.compile(r"/qc/\d+$"))
    assert page.locator("code.digest").count() >= 5
    picture(page, "31_record")
    with page.expect_download() as report:
        page.get_by_role("link", name="Report as PDF").click()
    report.value.save_as(folder / "report.pdf")
    assert (folder / "report.pdf").read_bytes().startswith(b"%PDF")
    with page.expect_download() as bag:
        page.get_by_role("link", name="Export with all proofs").click()
    bag.value.save_as(folder / "bag.zip")
    with zipfile.ZipFile(folder / "bag.zip") as packed:
        assert any(name.endswith("bagit.txt") for name in packed.namelist())


def test_correction_stays_beside_what_it_corrects(quality: Page) -> None:
    page = quality
    page.get_by_text("Correct this entry").tap()
    form = page.locator("form[data-send$=corrections]")
    form.get_by_label("Serial number").fill("S-0042")
    form.get_by_label("Why").fill("the serial number was not typed")
    with page.expect_navigation():
        form.get_by_role("button", name="Add the correction").tap()
    assert "S-0042" in page.inner_text("main")
    assert "the serial number was not typed" in page.inner_text("main")


def test_verification_and_lenses(quality: Page) -> None:
    page = quality
    page.goto("/qc/verify")
    page.get_by_role("button", name="Verify now").tap()
    page.get_by_text("Everything is as it was added.").wait_for()
    picture(page, "32_verified")
    page.goto("/qc/lenses")
    assert "No print check is in use" in page.inner_text("main")
    picture(page, "33_lenses")
