"""How does one come by a plant folder, and how are its pages served?"""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from weirhouse.cli.options import person, plant_option

if TYPE_CHECKING:
    from weirhouse.web.setup_code import SetupCode

PORT = 8421
BACKLOG = 128  # who may wait to be answered


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
def new(folder: Path) -> None:
    """Start a plant folder DIR: plant.toml with comments, empty records."""
    from weirhouse.plant import load, new_plant
    from weirhouse.records import disk
    from weirhouse.records.store import Store

    disk.require_own(folder)  # before anything is made there
    new_plant(folder)
    load(folder)
    with Store.open(folder, create=True):
        pass
    click.echo(f"{folder} is ready. Write your own plant over the example in {folder / 'plant.toml'}, then run:")
    click.echo(f"  weirhouse check --plant {folder}")


@click.command()
@click.option("--dir", "folder", type=click.Path(path_type=Path), default=Path("demo-plant"), show_default=True)
@click.option("--seed", type=int, default=None, help="Another invented year; the same seed gives the same year.")
@click.option("--no-serve", is_flag=True, help="Make it and print Today, but serve nothing.")
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True)
def demo(folder: Path, seed: int | None, no_serve: bool, host: str, port: int) -> None:
    """Make the demo plant with a year of records, print Today, then serve the pages."""
    from weirhouse.cli.today import answer, show_today

    _make(folder, seed)
    show_today(answer(folder, None))
    if not no_serve:
        _serve(folder, host, port)


def _make(folder: Path, seed: int | None) -> None:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

    from weirhouse.demo import SEED, DemoError, is_demo, make_demo

    if seed is None and is_demo(folder):
        click.echo(f"{folder} is already there and is used as it is; delete the folder to make it anew.", err=True)
        return
    if seed is not None and is_demo(folder):
        raise DemoError(f"{folder} already holds a demo plant. Delete it or name another folder with --dir.")
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TaskProgressColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    with bar:
        task = bar.add_task("A year in Emberly", total=1.0)

        def tell(done: float, what: str) -> None:
            bar.update(task, completed=done, description=what)

        make_demo(folder, seed=SEED if seed is None else seed, progress=tell)


@click.command()
@plant_option
@click.option("--host", default="127.0.0.1", show_default=True, help="This machine only, unless you say otherwise.")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True)
@click.option("--name", "names", multiple=True, help="A name by which other devices know this computer.")
@click.option("--certificate", type=click.Path(path_type=Path, exists=True), help="File of a certificate, for HTTPS.")
@click.option("--key", type=click.Path(path_type=Path, exists=True), help="File of its key.")
def serve(
    folder: Path, host: str, port: int, names: tuple[str, ...], certificate: Path | None, key: Path | None
) -> None:
    """Serve the pages on this machine and say where.

    Other devices are answered with --host 0.0.0.0, after somebody has an account and has let them in.
    """
    from weirhouse.plant import load
    from weirhouse.records import sound

    load(folder)  # what is wrong is said here, before a page is asked for
    sound.require(folder)
    if (certificate is None) != (key is None):
        raise click.UsageError("HTTPS needs both --certificate and --key.")
    _serve(folder, host, port, names, certificate, key)


def _serve(
    folder: Path, host: str, port: int, names: tuple[str, ...] = (), certificate: Path | None = None,
    key: Path | None = None,
) -> None:  # fmt: skip
    import socket

    import uvicorn

    from weirhouse.records.backup_jobs import by_themselves
    from weirhouse.web import create_app

    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # the protocol is named so that asyncio sends small answers at once instead of waiting 40 ms for more
    with socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP) as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, port))
        except OSError as error:
            raise click.ClickException(
                f"Port {port} on {host} cannot be used ({error.strerror}). Name another with --port."
            ) from error
        listener.listen(BACKLOG)  # whoever comes from now on is answered once the pages are up
        port = listener.getsockname()[1]
        where = f"[{host}]" if ":" in host else host
        scheme = "https" if certificate else "http"
        click.echo(f"\nThe pages are at {scheme}://{where}:{port}/ (Ctrl+C ends it).")
        code = None if _alone(host) else _for_others(folder, scheme, port)
        app = create_app(folder, clock=lambda: datetime.now(UTC), hosts=(host, *names), code=code)
        config = uvicorn.Config(
            app, log_level="warning", access_log=False, server_header=False, ssl_certfile=certificate, ssl_keyfile=key
        )
        with by_themselves(folder):
            uvicorn.Server(config).run(sockets=[listener])


def _alone(host: str) -> bool:
    """Return whether nobody but this computer can reach an address."""
    from ipaddress import ip_address

    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _for_others(folder: Path, scheme: str, port: int) -> "SetupCode | None":
    """Say how other devices are let in; where nobody has an account yet, by a code that is shown here alone."""
    from weirhouse.plant import load
    from weirhouse.records import access_log, people
    from weirhouse.records.access import Access
    from weirhouse.records.store import Store
    from weirhouse.web.setup_code import LASTS, SetupCode

    access, now = Access(folder), datetime.now(UTC)
    with Store.open(folder) as store:
        if access.any_account() or (people.read(store) and not load(folder).demo):
            if not access.network():
                click.echo(
                    "Other devices are kept out. Let them in under Plant, People, or: weirhouse people network on"
                )
            return None
        access_log.note(store, access_log.CODE_MADE, person=person(), now=now)
    code = SetupCode(now)
    click.echo(
        f"Nobody has an account yet, so other devices are not answered. Make the first account at this computer, or\n"
        f"on another device at {scheme}://ADDRESS-OF-THIS-COMPUTER:{port}/setup with the code  {code.forget()}  "
        f"(once, within {LASTS.seconds // 60} minutes)."
    )
    return code
