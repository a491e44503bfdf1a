"""`fitup serve`: the page for the phones in the shop."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fitup.cli import shared_options as shared
from fitup.cli.archiving import ARCHIVE_VARIABLE
from fitup.errors import UsageError

if TYPE_CHECKING:
    from uvicorn import Config

    from fitup.cli.inspecting import Options
    from fitup.phone import PhoneSettings, ServedJob

__all__ = ["serve"]

_DEMO = Path(__file__).parents[2] / "demo_images"
_USUAL_FOLDER = "fitup-serve"
_DEMO_PERSON = "Demo"


def serve(
    host: Annotated[
        str, typer.Option(help="Address of this computer in the shop's network; all it has if not said.")
    ] = "0.0.0.0",
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
        typer.Option(
            help="Folder for photos on their way, paired phones and, if none is named, the archive; "
            "fitup-serve if not said."
        ),
    ] = None,
    name: Annotated[
        list[str] | None, typer.Option(help="A name that phones may call this computer by: shop.local.")
    ] = None,
    certificate: Annotated[
        str | None, typer.Option(help="Certificate that the phones trust, .pem: the page is served by https.")
    ] = None,
    key: Annotated[str | None, typer.Option(help="Its private key, .pem.")] = None,
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
    let in. Every result goes into the archive. Ctrl-C ends it; what phones have sent stays, and is measured
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
        host=host,
        port=port,
        jobs=tuple(job or ()),
        demo=demo,
        workers=workers,
        names=tuple(name or ()),
        certificate=certificate,
        key=key,
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
    certificate: str | None
    key: str | None

    @property
    def scheme(self) -> str:
        return "http" if self.certificate is None else "https"

    def base(self, host: str) -> str:
        """The address by a host's name or number."""
        shown = f"[{host}]" if ":" in host else host
        return f"{self.scheme}://{shown}:{self.port}"


def _serve(serving: _Serving, options: Options) -> int:
    """Serve until stopped; UsageError and StorageError where it cannot begin."""
    _check(serving)
    # Told to end by another program it ends as by Ctrl-C: nothing of a trial stays behind.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    with contextlib.ExitStack() as stack:
        place = _place(serving, options, stack)
        jobs, samples = _jobs(serving, options)
        sockets = [stack.enter_context(one) for one in _sockets(serving)]
        settings = _settings(serving, options, place, jobs, samples)
        from fitup.cli.serving_screen import tell_addresses
        from fitup.phone import create_app

        app = create_app(settings)
        config = _config(app, serving)
        gate = app.state.gate
        gate.base_url = settings.address
        here = serving.base("::1" if ":" in serving.host else "127.0.0.1")
        tell_addresses(
            settings.address,
            gate.screen_link(here),
            gate.pairing_link(here, _DEMO_PERSON, "qc") if serving.demo else None,
            _left(serving, options),
        )
        _run(config, sockets)
    return 0


def _check(serving: _Serving) -> None:
    """What can be seen to be wrong before anything is opened."""
    if not serving.jobs and not serving.demo:
        raise UsageError("say which job is served: --job joints.toml, or --demo to try the page.")
    if (serving.certificate is None) != (serving.key is None):
        raise UsageError("--certificate and --key belong together: give both.")
    if serving.demo and not (_DEMO / "joints.toml").is_file():
        raise UsageError(
            "the demo job lies in the project's folder demo_images, which is not here: run fitup from a "
            "checkout, or serve a job of your own with --job."
        )


def _place(serving: _Serving, options: Options, stack: contextlib.ExitStack) -> Path:
    """Where the server keeps what is on its way; a trial leaves nothing behind."""
    if options.out is not None or not serving.demo:
        return Path(options.out or _USUAL_FOLDER)
    folder = tempfile.TemporaryDirectory(prefix="fitup-demo-", ignore_cleanup_errors=True)
    return Path(stack.enter_context(folder))


def _jobs(serving: _Serving, options: Options) -> tuple[tuple[ServedJob, ...], tuple[Path, ...]]:
    lists = [*serving.jobs, *([str(_DEMO / "joints.toml")] if serving.demo else [])]
    samples = tuple(sorted(_DEMO.glob("[0-9]*.jpg"))) if serving.demo else ()
    return tuple(_served(name, options) for name in lists), samples


def _served(name: str, options: Options) -> ServedJob:
    """A joint list with what the options say instead of it, and where each joint's settings come from."""
    from dataclasses import replace

    from fitup.cli.job_list import JobList
    from fitup.phone import ServedJob

    listed = JobList(replace(options, job=name))
    job = listed.settled()
    used = {one.name: listed.filing(one.name).joint_list for one in job.joints}
    return ServedJob(job=job, used={joint: one for joint, one in used.items() if one is not None})


def _settings(
    serving: _Serving, options: Options, place: Path, jobs: tuple[ServedJob, ...], samples: tuple[Path, ...]
) -> PhoneSettings:
    from fitup.cli.archiving import checked_text
    from fitup.phone import PhoneSettings

    workers = {} if serving.workers is None else {"workers": serving.workers}
    return PhoneSettings(
        jobs=jobs,
        archive=_archive(serving, options) or str(place / "archive"),
        state_folder=place,
        serial=checked_text(options.serial, "--serial"),
        host_names=serving.names,
        https=serving.certificate is not None,
        address=serving.base(serving.names[0] if serving.names else _reachable(serving.host)),
        samples=samples,
        **workers,
    )


def _archive(serving: _Serving, options: Options) -> str | None:
    """The archive that was named; a trial does not take the one that is usual here, whose entries stay."""
    usual = os.environ.get(ARCHIVE_VARIABLE)
    return None if serving.demo and options.archive == usual else options.archive


def _left(serving: _Serving, options: Options) -> str:
    """What is left when it has ended, in words."""
    if options.out is not None or not serving.demo:
        return "photos that phones have sent stay and are measured when it runs again"
    kept = "" if _archive(serving, options) is None else " but the archive"
    return f"nothing of this trial is kept{kept}"


def _reachable(host: str) -> str:
    """The number by which phones reach this computer; no packet is sent to find it."""
    if host not in ("0.0.0.0", "::", ""):
        return host
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # an address that is nobody's (RFC 5737)
        return str(probe.getsockname()[0])
    return "127.0.0.1"


def _sockets(serving: _Serving) -> Iterator[socket.socket]:
    """Where phones reach the page, and where this computer itself does: its own page opens nowhere else."""
    yield _socket(serving.host, serving.port)
    if serving.host not in ("0.0.0.0", "::", "", "localhost", "127.0.0.1", "::1"):
        yield _socket("::1" if ":" in serving.host else "127.0.0.1", serving.port)


def _socket(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    made = socket.socket(family, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((host, port))
    except OSError as error:
        made.close()
        reason = (error.strerror or str(error)).lower()
        raise UsageError(
            f"the page cannot be served at {host[:60]}, port {port}: {reason}; end what uses it, or give "
            "another --port or --host."
        ) from None
    return made


def _config(app: object, serving: _Serving) -> Config:
    """How the page is served; UsageError where the certificate does not do."""
    import uvicorn

    from fitup.phone.patient_protocol import PatientProtocol

    try:
        config = uvicorn.Config(
            app,  # type: ignore[arg-type]
            http=PatientProtocol,
            log_level="warning",
            access_log=False,
            server_header=False,
            proxy_headers=False,  # nobody's header says who asks
            timeout_keep_alive=20,
            timeout_graceful_shutdown=3,
            ssl_certfile=serving.certificate,
            ssl_keyfile=serving.key,
        )
        config.load()
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error) or type(error).__name__).lower()
        raise UsageError(
            f"the certificate or its key cannot be used: {reason}; give both as .pem, the key without a "
            "password."
        ) from None
    return config


def _run(config: Config, sockets: list[socket.socket]) -> None:
    import uvicorn

    uvicorn.Server(config).run(sockets=sockets)
