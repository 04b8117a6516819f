"""Whatever is entered, sent again, corrected, imported, withdrawn, closed and broken off, in whatever order and by what
clock, the records say what a plain list of it says, the roll-ups equal a recomputation, and the chain holds.
"""

import shutil
import tempfile
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    consumes,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)
from tests.records.conftest import on_server
from tests.records.sample import NOW, SECONDS, event, minutes, reading
from tests.records.test_rollup import assert_rollup_is_that_of_the_values

from weirhouse.records import ledger
from weirhouse.records.closing import bounds, closing
from weirhouse.records.model import ClosedError, RecordsError, series
from weirhouse.records.store import Store

CHANNELS = ("raw_turbidity", "plant_flow")
channels = st.sampled_from(CHANNELS)
when = st.integers(0, 60 * 5)  # minutes, few enough to meet
numbers = st.floats(-1e6, 1e6, allow_nan=False)
FLAGS = {"": 0, "doubtful": 1, "rejected": 2}


class Records(RuleBasedStateMachine):
    """The store beside a model of it: dictionaries of what counts."""

    readings = Bundle("readings")
    imports = Bundle("imports")

    server = None  # the address of a server, where the records lie on one

    @initialize()
    def begin(self):
        self.folder = Path(tempfile.mkdtemp())
        if self.server:
            on_server(self.folder, self.server)
        self.store = Store.open(self.folder, create=True)
        self.typed = {}  # id: reading
        self.order = {}  # id: number of the entry
        self.rows = {}  # import id: {channel: [(time, value, flag)]}
        self.events = {}
        self.count = 0
        self.now, self.late = NOW, ""

    def said(self):
        return {"person": "M. Ode", "reason": "tried", "entered_at": self.now}

    def teardown(self):
        if hasattr(self, "store"):
            assert self.store.verify() == []
            self.store.close()
            shutil.rmtree(self.folder)

    def entered(self, id):
        self.count += 1
        self.order[id] = self.count

    @rule(target=readings, channel=channels, at=when, value=numbers, flag=st.sampled_from(["", "doubtful", "rejected"]))
    def add(self, channel, at, value, flag):
        made = reading(value, at, channel, flag=flag)
        assert self.store.add_readings([made], entered_at=self.now, reason=self.late) == 1
        self.typed[made.id] = made
        self.entered(made.id)
        return made.id

    @rule(id=readings)
    def send_again(self, id):
        if id in self.typed and not self.store.history(id)[-1].replaces:
            assert self.store.add_readings([self.typed[id]], entered_at=self.now, reason=self.late) == 0

    @rule(target=readings, id=consumes(readings), value=numbers, at=when)
    def correct(self, id, value, at):
        old = self.typed.pop(id)
        new = replace(old, value=value, taken_at=minutes(at))
        new_id = self.store.correct(id, new, **self.said())
        self.typed[new_id] = replace(new, id=new_id)
        self.entered(new_id)
        return new_id

    @rule(id=consumes(readings))
    def withdraw(self, id):
        self.store.correct(id, None, **self.said())
        del self.typed[id]
        self.entered(f"withdrawal of {id}")

    @rule(at=when)
    def log(self, at):
        made = event("note", at)
        self.store.add_events([made], entered_at=self.now, reason=self.late)
        self.events[made.id] = made
        self.entered(made.id)

    def file(self, start, step, values):
        times = SECONDS + start * 60 + np.arange(len(values)) * step
        flags = np.arange(len(values)) % 3
        return times, np.array(values, float), flags.astype(np.uint8)

    @rule(
        target=imports,
        channel=channels,
        start=when,
        step=st.sampled_from([60, 300, 7000]),
        values=st.lists(numbers | st.just(float("nan")), min_size=1, max_size=40),
    )
    def bring(self, channel, start, step, values):
        times, numbers, flags = self.file(start, step, values)
        one = series(channel, times, numbers, flags)
        receipt = self.store.add_import(
            "a.csv", "d", [one], [], person="R. Hale", entered_at=self.now, reason=self.late, detail={}
        )
        if receipt.stored:
            assert receipt.import_id not in self.rows
            self.rows[receipt.import_id] = {
                channel: list(zip(times.tolist(), numbers.tolist(), flags.tolist(), strict=True))
            }
            self.entered(receipt.import_id)
        else:
            assert receipt.import_id in self.rows
        return receipt.import_id

    @rule(id=imports)
    def withdraw_import(self, id):
        self.store.withdraw_import(id, **self.said())
        if self.rows.pop(id, None) is not None:
            self.entered(f"withdrawal of {id}")

    @rule(channel=channels, start=when)
    def break_off(self, channel, start):
        times, numbers, flags = self.file(start, 60, [5.0] * 90)
        append = ledger.append
        ledger.append = lambda *_: (_ for _ in ()).throw(RecordsError("power gone"))
        try:
            self.store.add_import(
                "b.csv",
                "d",
                [series(channel, times, numbers, flags)],
                [],
                person="R. Hale",
                entered_at=self.now,
                reason=self.late,
                detail={},
            )
        except RecordsError as fault:
            assert str(fault) == "power gone"
        finally:
            ledger.append = append

    @rule(step=st.sampled_from([timedelta(hours=1), timedelta(hours=-1), timedelta(days=-20_000), timedelta(days=3)]))
    def set_the_clock(self, step):
        """Entries are ordered by their number, whatever the clock says."""
        if 1950 < (self.now + step).year < 2100:
            self.now += step

    @rule()
    def close_the_day(self):
        if not self.late and self.count > 5:
            made = closing("2026-05-01", "America/New_York", person="R. Hale", at=NOW)
            if self.now < bounds("2026-05-01", "America/New_York")[1]:  # the clock was set back
                with pytest.raises(RecordsError, match="is not over yet"):
                    self.store.add_events([made], entered_at=self.now)
                return
            self.store.add_events([made], entered_at=self.now)
            self.late = "the slip was found today"
            self.entered("the closing")

    @rule(channel=channels, at=when)
    def without_a_reason_into_the_closed_day(self, channel, at):
        if self.late:
            with pytest.raises(ClosedError):
                self.store.add_readings([reading(1.0, at, channel)], entered_at=self.now)
            with pytest.raises(ClosedError):
                self.store.add_events([event("note", at)], entered_at=self.now)

    @rule()
    def close_and_open(self):
        self.store.close()
        self.store = Store.open(self.folder)

    @invariant()
    def says_what_the_model_says(self):
        if not hasattr(self, "store"):
            return
        for channel in CHANNELS:
            some = [
                (time, 0, self.order[id], value, flag)
                for id, rows in self.rows.items()
                for time, value, flag in rows.get(channel, ())
            ]
            some += [
                (int(one.taken_at.timestamp()), 1, self.order[id], one.value, FLAGS[one.flag])
                for id, one in self.typed.items()
                if one.channel == channel
            ]
            best = {row[0]: row[3:] for row in sorted(some, key=lambda row: row[:3])}
            expected = [(time, *row) for time, row in sorted(best.items())]
            found = self.store.values(channel)
            assert found.times.tolist() == [row[0] for row in expected]
            np.testing.assert_array_equal(found.values, [row[1] for row in expected])
            assert found.flags.tolist() == [row[2] for row in expected]
            assert_rollup_is_that_of_the_values(self.store, channel)
            if expected:
                point = self.store.latest(channel, minutes(10_000))
                assert point.time.timestamp() == expected[-1][0]
                np.testing.assert_array_equal(np.nan if point.value is None else point.value, expected[-1][1])
        some = self.store.readings()
        assert {one.id: one for one in some} == self.typed
        assert [one.taken_at for one in some] == sorted(one.taken_at for one in some)
        assert {one.id: one for one in self.store.events() if one.kind != "closed"} == self.events
        with_rows = {channel for rows in self.rows.values() for channel in rows}
        assert self.store.channels() == with_rows | {one.channel for one in self.typed.values()}


TestRecords = Records.TestCase
TestRecords.settings = settings(max_examples=20, stateful_step_count=15, deadline=None)


def test_the_same_holds_on_a_server(district):
    class OnServer(Records):
        server = district

    run_state_machine_as_test(OnServer, settings=settings(max_examples=8, stateful_step_count=15, deadline=None))
