"""Would the tests notice? Faults are planted one by one in a copy of the program; each must make its test fail.

``make planted-faults`` runs them all (some minutes) and leaves with exit status 1 when one goes unnoticed, or when a
test fails without any fault. With ``--write PAGE`` the table goes into that page.
"""

import argparse
import os
import platform
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).parents[1]
BEGIN, END = "<!-- faults planted: written by make planted-faults -->", "<!-- end of the faults planted -->"


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault: what it is, where, what stands there and what is put there, and the test that must notice."""

    what: str
    file: str
    stands: str
    planted: str
    test: str


LEDGER, ROTS = "tests/records/test_ledger.py", "tests/records/test_bit_rot.py"
BACKUP, JOBS = "tests/records/test_backup.py", "tests/records/test_backup_jobs.py"
REQUESTS = "tests/web/security/test_requests.py"
FAULTS = (
    Fault("commits are not synced", "records/engine.py", "PRAGMA synchronous = FULL", "PRAGMA synchronous = OFF",
          "tests/crash/test_short.py::test_nothing_acknowledged_is_lost_when_the_power_is_cut"),
    Fault("a write begins without the lock", "records/engine.py", '"BEGIN IMMEDIATE"', '"BEGIN"',
          "tests/records/test_contention.py"),
    Fault("a failed disk is forgotten", "records/engine.py", "                self.broken = told\n",
          "                pass\n", "tests/crash/test_faults.py"),
    Fault("the seal leaves out what came before", "records/ledger.py", "hashlib.sha256(before + body.encode(",
          "hashlib.sha256(body.encode(",
          f"{LEDGER}::test_the_chain_can_be_followed_with_nothing_but_a_hash_function"),
    Fault("an id that comes with other content is taken", "records/ledger.py", "if known.said != body.said:",
          "if False:",
          f"{LEDGER}::test_an_id_that_comes_with_other_content_is_refused_and_nothing_of_the_batch_is_stored"),
    Fault("nobody is told of such an id", "desk/grid.py",
          '"conflict" if isinstance(error, ConflictError) else "refused"', '"refused"',
          "tests/web/test_grid.py::test_the_same_id_with_other_content_is_a_conflict_and_leaves_an_entry_while_the_first_stays"),
    Fault("the key is not looked up", "records/ledger.py", "known = there.get(body.id)", "known = None",
          f"{LEDGER}::test_an_entry_sent_again_is_stored_once"),
    Fault("the chain is not compared", "records/verify.py", "elif ledger.seal(before, row.body) != row.hash:",
          "elif False:", f"{LEDGER}::test_verify_names_the_first_entry_that_was_altered"),
    Fault("a chain that was cut off is not held against the backups", "records/witness.py",
          "if ledger.hash_at(entries, said.sequence) != bytes.fromhex(said.head):", "if False:",
          "tests/records/test_witness.py::test_entries_that_a_backup_holds_cannot_be_cut_off_unnoticed"),
    Fault("what was not detected becomes 0", "rules/chemistry.py", "value=top.result.value if", "value=top.low if",
          "tests/rules/test_samples.py::test_what_was_not_detected_becomes_no_bare_number"),
    Fault("what is no number is taken", "records/entering.py",
          "if reading.value is not None and not math.isfinite(reading.value):", "if False:",
          "tests/records/test_odd_values.py"),
    Fault("a closed day is open", "records/closing.py", "if body.id not in there:", "if False:",
          "tests/records/test_closing.py"),
    Fault("rejected values count", "records/rollup.py", "np.isfinite(values) & (flags != REJECTED)",
          "np.isfinite(values)", "tests/records/test_rollup.py::test_gaps_and_rejected_values_are_left_out"),
    Fault("the mean of an hour stands for its highest", "records/rollup.py",
          'made["maximum"] = np.maximum.reduceat(values, first)',
          'made["maximum"] = np.add.reduceat(values, first) / (after - first)', "tests/records/test_rollup.py"),
    Fault("of two values on a stamp the first stays", "records/chunks.py",
          "np.append(times[1:] != times[:-1], True)", "np.append(True, times[1:] != times[:-1])",
          "tests/records/test_imports.py::test_rows_out_of_order_are_put_in_order_and_the_last_of_a_stamp_is_kept"),
    Fault("a backup is not tried", "records/backup.py", "        restore.put_back(part, tried)\n", "",
          f"{BACKUP}::test_records_that_were_altered_are_not_backed_up_and_the_last_good_one_stays"),
    Fault("the digests of a backup are not looked at", "records/restore.py",
          "or digest(target) != held.sha256", "or False",
          f"{BACKUP}::test_a_backup_that_was_altered_is_not_restored"),
    Fault("a restore writes over what is there", "records/restore.py", "    _require_free(to)\n", "",
          f"{BACKUP}::test_nothing_is_written_over"),
    Fault("a backup may name any file", "records/backup_name.py", "return _HELD.match(name) is not None and",
          "return True or", f"{BACKUP}::test_a_manifest_leads_nowhere_out_of_its_folder"),
    Fault("sessions are backed up", "records/backup.py", "        _forget_sessions(part / ACCESS)\n", "",
          f"{BACKUP}::test_no_secret_of_a_session_is_in_a_backup"),
    Fault("backups go by the clock on the wall", "records/backup_state.py",
          "return tick - last.tick >= QUARTER.total_seconds()", "return now - last.at >= QUARTER", JOBS),
    Fault("the night is that of UTC", "records/backup_state.py", "moment.astimezone(zone).replace(tzinfo=None)",
          "moment.replace(tzinfo=None)", JOBS),
    Fault("texts are not escaped", "web/render.py", "autoescape=True", "autoescape=False",
          "tests/web/security/test_injection.py::test_every_template_escapes_and_none_is_made_of_a_text"),
    Fault("the content policy is not sent", "web/guard.py",
          '    (b"content-security-policy", POLICY.encode()),\n', "", REQUESTS),
    Fault("an entry from another page is taken", "web/guard.py",
          "if elsewhere or (origin is not None and [o.lower() for o in origin] != [ours]):", "if False:", REQUESTS),
    Fault("whoever may look may write", "web/routes.py", 'Sent("/log/{date}/note", log.add_note, needs=WRITE)',
          'Sent("/log/{date}/note", log.add_note, needs=READ)', "tests/web/security/test_roles.py"),
)  # fmt: skip


def times(fault: Fault) -> int:
    """Return how often what the fault takes the place of stands in the program."""
    return (ROOT / "src" / "weirhouse" / fault.file).read_text("utf-8").count(fault.stands)


def noticed(fault: Fault | None, tests: Iterable[str]) -> bool:
    """Return whether a test fails in a copy of the program with the fault in it, or with None in it."""
    with tempfile.TemporaryDirectory(prefix="weirhouse-planted-") as name:
        source = Path(name) / "src"
        shutil.copytree(ROOT / "src", source, ignore=shutil.ignore_patterns("__pycache__"))
        if fault is not None:
            file = source / "weirhouse" / fault.file
            file.write_text(file.read_text("utf-8").replace(fault.stands, fault.planted), "utf-8")
        done = subprocess.run(  # noqa: S603 -- our own tests
            [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests],
            cwd=ROOT, env={**os.environ, "PYTHONPATH": str(source)}, capture_output=True, text=True, timeout=1800,
            check=False,
        )  # fmt: skip
    if done.returncode not in (0, 1):
        raise RuntimeError(f"The tests could not be run: {done.stdout[-2000:]}{done.stderr[-2000:]}")
    return done.returncode == 1


def told(found: Mapping[Fault, bool], control: bool) -> str:
    """Return what came of it as a page tells it."""
    commit = subprocess.run(
        ["git", "rev-parse", "--short=10", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=True  # noqa: S607
    ).stdout.strip()  # fmt: skip
    rows = [
        f"| {fault.what} | `{fault.file}` | `{fault.test}` | {'yes' if good else '**no**'} |"
        for fault, good in found.items()
    ]
    return "\n".join([
        f"Run of {datetime.now(UTC):%Y-%m-%d} on commit {commit}, Python {platform.python_version()}: "
        f"{sum(found.values())} of {len(found)} planted faults were noticed. Without a fault the same tests "
        f"{'pass' if control else '**do not pass**'}.",
        "",
        "| the fault | planted in | the test that must fail | it failed |",
        "|---|---|---|---|",
        *rows,
    ])  # fmt: skip


def write(page: Path, text: str) -> None:
    """Put the table between the marks of a page."""
    before, begin, rest = page.read_text("utf-8").partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise SystemExit(f"{page} has no marks for the table. Nothing was written.")
    page.write_text(f"{before}{BEGIN}\n\n{text}\n\n{END}{after}", "utf-8")


def main() -> int:
    """Run the tests without a fault, then plant each fault in turn."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--write", type=Path, help="a page with the marks that the table goes between")
    asked = ask.parse_args()
    control = not noticed(None, sorted({test for fault in FAULTS for test in fault.test.split()}))
    print(f"Without a fault the tests {'pass' if control else 'DO NOT PASS'}.", flush=True)
    found = {}
    for fault in FAULTS:
        found[fault] = noticed(fault, fault.test.split())
        print(f"{'noticed' if found[fault] else 'NOT NOTICED'}: {fault.what} ({fault.test})", flush=True)
    print(f"{sum(found.values())} of {len(FAULTS)} planted faults were noticed.")
    if asked.write:
        write(asked.write, told(found, control))
    return 0 if control and all(found.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
