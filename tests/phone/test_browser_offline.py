"""Bad Wi-Fi, a server that dies, a page that is reloaded: nothing is lost, and nothing arrives twice."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.phone.browsing import (
    PHOTOS,
    VIEWPORT,
    Shop,
    browser,
    chromium,
    eventually,
    photograph,
    picture,
    shop,
)

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

NAME = "shop.test"  # stands for the server's name in the shop's network; RFC 6761


@pytest.fixture(scope="module")
def browser_of_shop() -> Iterator[Browser]:
    with browser(f"--host-resolver-rules=MAP {NAME} 127.0.0.1") as opened:
        yield opened


@pytest.fixture(scope="module")
def served(browser_of_shop: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with shop(tmp_path_factory.mktemp("shop"), browser_of_shop, "--name", NAME, through_wifi=True) as opened:
        yield opened


@pytest.fixture(autouse=True)
def no_faults(served: Shop) -> Iterator[None]:
    yield
    served.wifi.mend()
    assert not served.faults


def opened(served: Shop, joint: str, name: str) -> Page:
    """A joint's page on a phone of its own, whose worker has taken over."""
    page = served.phone(name)
    page.goto("/")
    page.wait_for_load_state("networkidle")
    page.goto(f"/j/{joint}?job=RT-40")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    assert page.evaluate("navigator.serviceWorker.controller !== null")
    return page


def slow(page: Page) -> None:
    """An upload that takes seconds, so that it can be seen and cut."""
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    told = {"offline": False, "latency": 20, "downloadThroughput": -1, "uploadThroughput": 40_000}
    session.send("Network.emulateNetworkConditions", told)


def kept(page: Page) -> int:
    """How many photos lie in the phone's own store."""
    return int(
        page.evaluate(
            """() => new Promise((resolve) => {
              indexedDB.open("fitup", 1).onsuccess = (event) => {
                const store = event.target.result.transaction("photos").objectStore("photos");
                store.count().onsuccess = (counted) => resolve(counted.target.result);
              };
            })"""
        )
    )


def upload_begins(page: Page) -> None:
    page.get_by_text(re.compile(r"Sending, [1-9]0 %")).wait_for()


def test_network_cut_during_upload(served: Shop) -> None:
    page = opened(served, "J1", "Ana")
    slow(page)
    photograph(page, "hostile/h01_clean.jpg", wait=False)
    upload_begins(page)
    picture(page, "40_sending")
    served.wifi.cut()
    page.get_by_text("Waiting for the connection").wait_for()
    assert kept(page) == 1
    picture(page, "41_unsent")
    page.reload()  # the worker gives the page
    page.get_by_text("Waiting for the connection").wait_for()
    page.goto("/j/J3?job=RT-40")  # never seen before: the page for that
    assert page.get_by_role("heading", name="No connection").is_visible()
    choice = page.locator("[data-offline-choice]")
    choice.wait_for()
    assert choice.locator("option").count() == 5
    assert choice.locator("option:checked").inner_text() == "J3 · RT-40"
    photograph(page, "hostile/h03_clean_across.jpg", wait=False)
    eventually(lambda: kept(page) == 2)
    picture(page, "42_offline")
    page.goto("/")
    page.get_by_text("2 photos are not sent yet").wait_for()
    picture(page, "43_unsent_two")
    served.wifi.mend()
    page.reload()
    eventually(lambda: kept(page) == 0)
    eventually(lambda: len(served.measured("J1")) == 1)
    eventually(lambda: len(served.measured("J3")) == 1)


def test_server_killed_and_restarted_page_reloaded(served: Shop) -> None:
    page = opened(served, "J2", "Luz")
    slow(page)
    photograph(page, "hostile/h02_clean_mill.jpg", wait=False)
    upload_begins(page)
    served.program.kill()
    page.get_by_text("Waiting for the connection").wait_for()
    page.reload()
    page.get_by_text("No connection to the shop computer").wait_for()
    assert kept(page) == 1
    served.restart()
    page.reload()
    page.wait_for_url("**/r/*")
    assert kept(page) == 0
    assert len(served.measured("J2")) == 1


def test_killed_after_it_had_the_photo(served: Shop) -> None:
    page = opened(served, "J1", "Eva")
    photograph(page, "hostile/h04_clean_good.jpg", wait=False)
    eventually(lambda: kept(page) == 0)
    served.program.kill()
    served.restart()
    page.wait_for_url("**/r/*")
    assert len(served.measured("J1")) == 2


def test_a_lost_answer_sends_nothing_twice(served: Shop) -> None:
    page = opened(served, "J7", "Kim")
    lost = []

    def lose(route, request) -> None:  # type: ignore[no-untyped-def]
        if request.method == "POST" and not lost:
            lost.append(route.fetch().status)  # it arrives, and its answer does not
            route.abort()
        else:
            route.continue_()

    page.route("**/api/shots", lose)
    photograph(page, "hostile/h15_fingerprints.jpg")
    assert lost == [202]
    assert len(served.measured("J7")) == 1
    page.goto("/j/J7?job=RT-40")
    photograph(
        page, "hostile/h15_fingerprints.jpg"
    )  # and the same photo chosen once more gives the same result
    assert len(served.measured("J7")) == 1


def test_without_certificate_photos_are_kept_all_the_same(served: Shop) -> None:
    """Plain http in the shop's network: no worker, no SHA-256 of the browser, and the photo is kept."""
    base = f"http://{NAME}:{served.wifi.port}"
    context = served.context(base_url=base)
    page = served.watched(context.new_page())
    page.goto(served.pairing_link("Noa", "fitter"))
    page.get_by_role("button").tap()
    page.get_by_role("heading", name="Joints").wait_for()
    page.goto("/j/J3?job=RT-40")
    assert page.evaluate("isSecureContext") is False
    assert page.evaluate("crypto.subtle === undefined")
    served.wifi.cut()
    photograph(page, "hostile/h09_mixed_light.jpg", wait=False)
    page.get_by_text("Waiting for the connection").wait_for()
    assert kept(page) == 1
    page.close()
    served.wifi.mend()
    later = served.watched(context.new_page())
    later.goto("/settings")
    later.get_by_text("Without Wi-Fi the page does not open").wait_for()
    eventually(lambda: kept(later) == 0)
    eventually(lambda: len(served.measured("J3")) == 2)


def test_the_browser_is_closed_and_opened_again(
    served: Shop, tmp_path: Path, browser_of_shop: Browser
) -> None:
    driver = browser_of_shop.browser_type
    looks = {"executable_path": chromium(), "args": ["--no-sandbox"], "viewport": VIEWPORT}
    context = driver.launch_persistent_context(str(tmp_path), base_url=served.base, **looks)
    served.pair(context, "Ito", "fitter")
    page = context.new_page()
    page.goto("/j/J1?job=RT-40")
    served.wifi.cut()
    page.locator("[data-camera]").first.set_input_files(PHOTOS / "hostile/h11_hdr_sharpened.jpg")
    page.get_by_text("Waiting for the connection").wait_for()
    context.close()
    served.wifi.mend()
    before = len(served.measured("J1"))
    context = driver.launch_persistent_context(str(tmp_path), base_url=served.base, **looks)
    page = context.new_page()
    page.goto("/")
    eventually(lambda: kept(page) == 0)
    eventually(lambda: len(served.measured("J1")) == before + 1)
    context.close()


def test_the_worker_sends_when_no_page_is_open(served: Shop) -> None:
    page = opened(served, "J7", "Uma")
    session = page.context.new_cdp_session(page)
    told: list[str] = []
    session.on(
        "ServiceWorker.workerRegistrationUpdated",
        lambda event: told.extend(one["registrationId"] for one in event["registrations"]),
    )
    session.send("ServiceWorker.enable")
    eventually(lambda: page.wait_for_timeout(50) or told)
    before = len(served.measured("J7"))
    served.wifi.cut()
    photograph(page, "hostile/h07_light_through.jpg", wait=False)
    page.get_by_text("Waiting for the connection").wait_for()
    page.goto("about:blank")
    served.wifi.mend()
    sync = {"origin": served.base, "registrationId": told[0], "tag": "fitup-outbox", "lastChance": False}

    def sent() -> bool:
        # A browser repeats a sync that failed, as one may while the connection comes back.
        session.send("ServiceWorker.dispatchSyncEvent", sync)
        page.wait_for_timeout(2000)
        return len(served.measured("J7")) == before + 1

    eventually(sent)
