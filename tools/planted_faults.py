"""Would the tests notice? Faults are planted one by one in a copy of the program; each must make its test fail.

``python -m tools.planted_faults`` runs them all (some minutes) and leaves with exit status 1 when one goes unnoticed.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]


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
    Fault("the seal leaves out what came before", "records/ledger.py", "hashlib.sha256(before + body.encode())",
          "hashlib.sha256(body.encode())",
          f"{LEDGER}::test_the_chain_can_be_followed_with_nothing_but_a_hash_function"),
    Fault("an id that comes with other content is taken", "records/ledger.py", "if known.said != body.said:",
          "if False:",
          f"{LEDGER}::test_an_id_that_comes_with_other_content_is_refused_and_nothing_of_the_batch_is_stored"),
    Fault("the key is not looked up", "records/ledger.py", "known = there.get(body.id)", "known = None",
          f"{LEDGER}::test_an_entry_sent_again_is_stored_once"),
    Fault("the chain is not compared", "records/verify.py", "elif ledger.seal(before, row.body) != row.hash:",
          "elif False:", f"{LEDGER}::test_verify_names_the_first_entry_that_was_altered"),
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


def noticed(fault: Fault) -> bool:
    """Return whether the test fails in a copy of the program with the fault in it."""
    with tempfile.TemporaryDirectory(prefix="weirhouse-planted-") as name:
        source = Path(name) / "src"
        shutil.copytree(ROOT / "src", source, ignore=shutil.ignore_patterns("__pycache__"))
        file = source / "weirhouse" / fault.file
        file.write_text(file.read_text("utf-8").replace(fault.stands, fault.planted), "utf-8")
        done = subprocess.run(  # noqa: S603 -- our own tests
            [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *fault.test.split()],
            cwd=ROOT, env={**os.environ, "PYTHONPATH": str(source)}, capture_output=True, text=True, timeout=900,
            check=False,
        )  # fmt: skip
    return done.returncode == 1 and " failed" in done.stdout


def main() -> int:
    """Plant each fault in turn."""
    missed = []
    for fault in FAULTS:
        good = noticed(fault)
        print(f"{'noticed' if good else 'NOT NOTICED'}: {fault.what} ({fault.test})", flush=True)
        missed += [] if good else [fault.what]
    print(f"{len(FAULTS) - len(missed)} of {len(FAULTS)} planted faults were noticed.")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
