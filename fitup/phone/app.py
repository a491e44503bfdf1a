"""The application: routes, gate and pages put together; nothing global, all state on the application."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from anyio.to_thread import run_sync
from fastapi import FastAPI

from fitup import __version__
from fitup.phone.afterwards_routes import afterwards_routes
from fitup.phone.answers import install_answers
from fitup.phone.archive_routes import archive_routes
from fitup.phone.entry_routes import entry_routes
from fitup.phone.gate import install_gate
from fitup.phone.page_routes import install_static
from fitup.phone.pages import pages
from fitup.phone.phone_settings import PhoneSettings
from fitup.phone.shop import Shop
from fitup.phone.shot_routes import shot_routes

__all__ = ["create_app"]


def create_app(settings: PhoneSettings) -> FastAPI:
    """The server's application; its workers run while its lifespan does.

    Raises
    ------
    UsageError, StorageError
        When archive or folder cannot be used.
    """
    shop = Shop(settings)

    @asynccontextmanager
    async def running(app: FastAPI) -> AsyncIterator[None]:
        shop.start()
        try:
            yield
        finally:
            await run_sync(shop.stop)

    app = FastAPI(
        title="fitup",
        version=__version__,
        description="The phone page of fitup: photos in, verdicts out.",
        docs_url=None,
        redoc_url=None,
        lifespan=running,
    )
    app.state.settings, app.state.shop = settings, shop
    install_answers(app)
    install_static(app)
    for routes in (shot_routes, entry_routes, afterwards_routes, archive_routes, pages):
        app.include_router(routes)
    app.add_api_route("/healthz", _health, include_in_schema=False)
    install_gate(app, settings)
    return app


def _health() -> dict[str, str]:
    return {"state": "running", "version": __version__}
