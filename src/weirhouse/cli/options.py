"""Which options do several commands share? The plant folder, the instant, and JSON."""

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import msgspec

if TYPE_CHECKING:
    from weirhouse.plant.model import Plant
    from weirhouse.records.store import Store

plant_option = click.option(
    "--plant",
    "folder",
    type=click.Path(path_type=Path),
    default=Path(),
    show_default="this folder",
    help="The plant's folder.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")


def print_json(data: Any) -> None:
    """Print one object on standard output and nothing else."""
    sys.stdout.write(msgspec.json.format(msgspec.json.encode(data, enc_hook=_plain), indent=2).decode() + "\n")


def _plain(value: Any) -> Any:
    if isinstance(value, float):  # a Known: its source is told in the working
        return float(value)
    if hasattr(value, "item"):
        return value.item()
    raise TypeError(f"{type(value).__name__} is no JSON")


def moment(text: str | None, plant: "Plant", store: "Store") -> datetime:
    """Return the instant that ``--at`` means; without it now, in the demo its last reading."""
    from weirhouse.situation.clock import typed_time

    now = datetime.now(UTC)
    if plant.demo:
        last = store.span()[1]
        if last is not None:
            now = last.astimezone(UTC)
    return typed_time(text, plant.zone, now) if text else now


def person() -> str:
    """Return who is at this terminal, as the records name them."""
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError):  # no such user in this system's list
        return "terminal"
