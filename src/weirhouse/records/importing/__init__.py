"""How do files of readings come into the records? Read, planned, shown, and stored as one import.

    bytes -> Source -> Parsed -> Plan -> Store.add_import

A dry run takes the same steps on the same bytes and stops before the last, so that what is shown is what is stored.
"""

from typing import TYPE_CHECKING, Any

from weirhouse.records.importing.mapping import Mapping
from weirhouse.records.importing.problem import FileProblem
from weirhouse.records.importing.result import ImportResult

if TYPE_CHECKING:
    from weirhouse.records.importing.run import import_file, read_mapping

__all__ = ["FileProblem", "ImportResult", "Mapping", "import_file", "read_mapping"]


def __getattr__(name: str) -> Any:  # the reading alone needs no store
    if name in ("import_file", "read_mapping"):
        from weirhouse.records.importing import run

        return getattr(run, name)
    raise AttributeError(name)
