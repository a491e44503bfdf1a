"""`fitup serve`: the page for the phones in the shop."""

from __future__ import annotations

import contextlib
import socket
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fitup.cli import shared_options as shared
from fitup.errors import UsageError

if TYPE_CHECKING:
    from fitup.cli.inspecting import Options
    from fitup.phone import PhoneSettings, ServedJob

__all__ = ["serve"]

_DEMO = Path(__file__).parents[2] / "demo_images"


def serve(
    host: Annotated[str, typer.Option(help="Address of this computer in the shop's network.")] = "0.0.0.0",
    port: Annotated[int, typer.Option(help="Port.", min=1, max=65535)] = 8731,
    job: Annotated[
        list[str] | None, typer.Option(help="A joint list, joints.toml; several may be served.")
    ] = None,
    demo: Annotated[
        bool, typer.Option("--demo", help="Serve the invented demo job, to try the page.")
    ] = False,
    archive: shared.Archive = None,
    out: Annotated[
        str | None,
        typer.Option(help="Folder for what is on its way: photos received, queue, paired phones."),
    ] = None,
    name: Annotated[
        list[str] | None, typer.Option(help="A name of this computer that phones may call it by.")
    ] = None,
    workers: Annotated[
        int | None, typer.Option(help="Photos measured at once; one a core if not said.", min=1, max=64)
    ] = None,
    rules: shared.Rules = None,
    print_record: shared.PrintRecord = None,
    thickness: shared.Thickness = None,
    arris_radius: shared.ArrisRadius = None,
    lens: shared.Lens = None,
    lens_folder: shared.LensFolder = None,
    probability: shared.Probability = None,
    serial: shared.Serial = "",
) -> int:
    """Serve the page on which phones in the shop send photos of joints and see the verdicts.

    Prints the page's address with its QR code, and the address of this computer's own page, where phones are
    let in. Every result goes into the archive. Ctrl-C ends it; what phones have sent stays and is measured
    when it runs again.
    """
    from fitup.cli.inspecting import Options

    options = Options(
        photos=(),
        rules=rules,
        print_record=print_record,
        thickness=thickness,
        arris_radius=arris_radius,
        lens=lens,
        lens_folder=lens_folder,
        probability=probability,
        archive=archive,
        out=out,
        serial=serial,
    )
    serving = _Serving(
        host=host, port=port, jobs=tuple(job or ()), demo=demo, workers=workers, names=tuple(name or ())
    )
    return _serve(serving, options)


@dataclass(frozen=True, kw_only=True)
class _Serving:
    """The command's own options as written."""

    host: str
    port: int
    jobs: tuple[str, ...]
    demo: bool
    workers: int | None
    names: tuple[str, ...]


def _serve(serving: _Serving, options: Options) -> int:
    """Serve until stopped; UsageError and StorageError where it cannot begin."""
    import uvicorn

    from fitup.phone import create_app

    with _settings(serving, options) as settings:
        app = create_app(settings)
        uvicorn.run(app, host=serving.host, port=serving.port, log_level="warning")
    return 0


@contextlib.contextmanager
def _settings(serving: _Serving, options: Options) -> Iterator[PhoneSettings]:
    from fitup.phone import PhoneSettings

    with contextlib.ExitStack() as stack:
        samples: tuple[Path, ...] = ()
        jobs = serving.jobs
        if serving.demo:
            jobs = (*jobs, str(_DEMO / "joints.toml"))
            samples = tuple(sorted(_DEMO.glob("*.jpg")))
        if not jobs:
            raise UsageError("say which job is served: --job joints.toml, or --demo to try it.")
        place = Path(options.out or stack.enter_context(tempfile.TemporaryDirectory(prefix="fitup-")))
        yield PhoneSettings(
            jobs=tuple(_served(job, options) for job in jobs),
            archive=options.archive or str(place / "archive"),
            state_folder=place,
            samples=samples,
            host_names=(socket.gethostname(), *serving.names),
        )


def _served(job: str, options: Options) -> ServedJob:
    from dataclasses import replace

    from fitup.cli.job_list import JobList
    from fitup.phone import ServedJob

    listed = JobList(replace(options, job=job))
    settled = listed.settled()
    used = {one.name: listed.filing(one.name).joint_list for one in settled.joints}
    return ServedJob(job=settled, used={name: one for name, one in used.items() if one is not None})
