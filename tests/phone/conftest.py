"""One browser for the stories of a file; where there is none, they skip and say so."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from tests.phone import browsing

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with browsing.browser() as opened:
        yield opened


@pytest.fixture(scope="module")
def shop(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[browsing.Shop]:
    with browsing.shop(tmp_path_factory.mktemp("shop"), browser) as opened:
        yield opened
