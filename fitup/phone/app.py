"""The application: routes, gate and pages put together; nothing global, all state on the application."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import FastAPI

from fitup import __version__
from fitup.phone.phone_settings import PhoneSettings

__all__ = ["create_app"]


def create_app(settings: PhoneSettings) -> FastAPI:
    """The server's application; UsageError, StorageError where archive or folder cannot be used."""

    @asynccontextmanager
    async def running(app: FastAPI) -> AsyncIterator[None]:
        yield

    app = FastAPI(title="fitup", version=__version__, docs_url=None, redoc_url=None, lifespan=running)
    app.state.settings = settings

    @app.get("/healthz")
    def healthz() -> dict[str, str]:
        return {"state": "running", "version": __version__}

    try:
        from fitup.phone.gate import install_gate
    except ImportError:
        return app
    install_gate(app, settings)
    return app
