"""A real browser, phone-sized and touched, in front of the real server."""

from __future__ import annotations

import contextlib
import re
import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import httpx2
import pytest

from tests.phone.shop_app import Program, program
from tests.phone.wifi import Wifi, wifi

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

ROOT = Path(__file__).parents[2]
PHOTOS = ROOT / "demo_images"
PICTURES = ROOT / "out" / "phone_pages"
PATIENCE_S = 45  # other tests run beside these
VIEWPORT = {"width": 390, "height": 844}
RESULT = re.compile(r"/[rs]/\w+$")
JOB = """
job = "RT-40"
part = "rinse tank"
[defaults]
wire = "0.9mm"
sheet = "1.5mm"
[[joint]]
name = "J1"
[[joint]]
name = "J2"
[[joint]]
name = "J3"
remark = "after J2"
[[joint]]
name = "J7"
wire = "1.2mm"
[[joint]]
name = "J17"
kind = "corner-full-open"
"""


def chromium() -> str:
    """Debian's browser, as `make debian-test-data` installs it; where there is none, its tests skip."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        pytest.skip("Chromium is not installed here: make debian-test-data installs it")
    return found


@contextlib.contextmanager
def browser(*more: str) -> Iterator[Browser]:
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed here")
    with playwright.sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=chromium(), args=["--no-sandbox", *more])
        yield started
        started.close()


@dataclass(kw_only=True)
class Shop:
    """A server with an archive, and phones that come and go; `base` is the address that phones use."""

    program: Program
    browser: Browser
    base: str
    screen: httpx2.Client = field(init=False)
    wifi: Wifi = field(init=False)
    contexts: list[BrowserContext] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    paired: dict[tuple[str, str], list[Any]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.open_screen()
        self.quality = self.context()
        self.pair(self.quality, "Ida", "qc")

    def open_screen(self) -> None:
        """The shop computer's own page: its address is good once for every start of the server."""
        self.screen = httpx2.Client(base_url=self.program.base, follow_redirects=True, timeout=20)
        assert self.screen.get(self.program.screen_link).status_code == 200

    def restart(self) -> None:
        self.screen.close()
        self.program.start()
        self.open_screen()

    def pairing_link(self, name: str, role: str) -> str:
        token = re.search(r'name="token" value="([^"]+)"', self.screen.get("/screen").text)
        assert token
        invited = self.screen.post("/screen/phones", data={"name": name, "role": role, "token": token[1]})
        link = re.search(r'href="[^"]*(/pair/[A-Za-z0-9_-]+)"', invited.text)
        assert link, invited.text
        return link[1]

    def phone(
        self,
        name: str = "Ana",
        role: str = "fitter",
        *,
        language: str = "en",
        units: str = "mm",
        **looks: Any,
    ) -> Page:
        """The page on a phone that is paired for a person."""
        context = self.context(**looks)
        if (name, role) in self.paired:
            context.add_cookies(self.paired[name, role])
        else:
            self.pair(context, name, role)
            self.paired[name, role] = context.cookies()
        told = {"fitup_language": language, "fitup_units": units}
        context.add_cookies([{"name": key, "value": one, "url": self.base} for key, one in told.items()])
        return self.watched(context.new_page())

    def pair(self, context: BrowserContext, name: str, role: str) -> None:
        code = self.pairing_link(name, role).rpartition("/")[2]
        answer = context.request.post("/pair", form={"code": code})
        assert answer.ok, answer.text()

    def context(self, **looks: Any) -> BrowserContext:
        usual = {"viewport": VIEWPORT, "device_scale_factor": 2, "is_mobile": True, "has_touch": True}
        context = self.browser.new_context(**{"base_url": self.base, **usual, **looks})
        context.set_default_timeout(PATIENCE_S * 1000)
        self.contexts.append(context)
        return context

    def measured(self, joint: str) -> list[int]:
        """The inspections of a joint in the archive, as quality control finds them."""
        answer = self.quality.request.get(f"/api/search?joint={joint}&kind=inspection")
        return [int(one["entry"]) for one in answer.json()["found"]]

    def watched(self, page: Page) -> Page:
        """No script may fail and nothing may be refused by the page's own policy, in any story."""
        page.on("pageerror", lambda error: self.faults.append(f"{page.url}: {error}"))
        page.on("console", lambda said: self._heard(page, said.text))
        return page

    def _heard(self, page: Page, said: str) -> None:
        if "Content Security Policy" in said or "Uncaught" in said:
            self.faults.append(f"{page.url}: {said}")

    def close(self) -> None:
        for context in self.contexts:
            context.close()
        self.contexts.clear()
        self.screen.close()


@contextlib.contextmanager
def shop(folder: Path, opened: Browser, *options: str, through_wifi: bool = False) -> Iterator[Shop]:
    job = folder / "joints.toml"
    job.write_text(JOB, encoding="utf-8")
    with program(folder / "served", "--job", str(job), *options) as served, wifi(served.port) as relay:
        made = Shop(program=served, browser=opened, base=relay.base if through_wifi else served.base)
        made.wifi = relay
        yield made
        made.close()


def photograph(page: Page, photo: str | Path, *, wait: bool = True) -> None:
    """As a fitter does it: the camera opens from the page, and the photo goes its way."""
    page.locator("[data-camera]").first.set_input_files(PHOTOS / photo)
    if wait:
        page.wait_for_url(RESULT)
        ready(page)


def ready(page: Page) -> None:
    """Until the page is there with what its scripts draw."""
    page.wait_for_load_state("load")
    if page.locator("[data-result]").count():
        page.locator("[data-legend] li").first.wait_for()


def picture(page: Page, name: str) -> None:
    """Keep a picture of the whole page to be looked at, without the bar of tabs lying over its middle."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    size = page.viewport_size or VIEWPORT
    height = page.evaluate("document.documentElement.scrollHeight")
    page.set_viewport_size({"width": size["width"], "height": max(int(height), size["height"])})
    page.wait_for_timeout(350)
    page.screenshot(path=PICTURES / f"{name}.png")
    page.set_viewport_size(size)


def eventually(check: Any, seconds: float = PATIENCE_S) -> Any:
    """What a check gives as soon as it gives something."""
    end = time.monotonic() + seconds
    while not (found := check()):
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.1)
    return found
