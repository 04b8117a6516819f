"""Which address shows what, and what must one be allowed to do there? Every line of the whole, in one list.

The first line that fits an address answers it. A new page is added here with its need; without one it cannot be built,
and tests ask every line in every role.
"""

from pathlib import Path

from weirhouse.records.roles import CLOSE, MANAGE, OPEN, READ, SELF, WRITE
from weirhouse.web import (
    close,
    entries,
    events,
    figures,
    grid,
    history,
    imports,
    inspector,
    log,
    look,
    notices,
    people,
    plant,
    proof,
    proof_entries,
    setup,
    signing,
    timetable,
    today,
)
from weirhouse.web.table import Batch, Files, Line, Page, Sent, Upload

TABLE: tuple[Line, ...] = (
    # Today
    Page("/", today.today_page, needs=READ),
    Page("/today.json", today.today_twin, needs=READ),
    Page("/working/{id}.json", today.working_twin, needs=READ),
    Page("/working/{id}", today.working_page, needs=READ),
    Page("/timetable", timetable.timetable_page, needs=READ),
    Page("/timetable.json", timetable.timetable_twin, needs=READ),
    Page("/history/{channel}", history.history_page, needs=READ),
    # Proof
    Page("/proof", proof.proof_page, needs=READ),
    Page("/proof.json", proof.proof_twin, needs=READ),
    Page("/proof/inspector", inspector.inspector_page, needs=READ),
    Page("/proof/rules", proof_entries.rules_page, needs=READ),
    Sent("/proof/rules", proof_entries.confirm, needs=CLOSE),
    Page("/proof/{month}", proof.proof_page, needs=READ),
    Page("/proof/{month}/table", proof.table_page, needs=READ),
    Page("/proof/{month}/total/{column}", proof.total_page, needs=READ),
    Page("/proof/{month}/day/{day}", proof.day_page, needs=READ),
    Page("/proof/{month}/rule/{id}", proof.rule_page, needs=READ),
    Page("/proof/{month}/report.{kind}", proof_entries.report_file, needs=READ),
    Page("/proof/{month}/open", proof_entries.open_page, needs=READ),
    Sent("/proof/{month}/explain", proof_entries.explain, needs=WRITE),
    Sent("/proof/{month}/close", proof_entries.close_month, needs=CLOSE),
    Page("/proof/{month}/notice", notices.notice_page, needs=READ),
    Sent("/proof/{month}/notice/step", notices.step, needs=WRITE),
    Sent("/proof/{month}/notice/close", notices.close, needs=WRITE),
    # Figures
    Page("/figures", figures.list_page, needs=READ),
    Page("/figures/{name}", figures.formula_page, needs=READ),
    # Plant
    Page("/plant", plant.plant_page, needs=READ),
    # People
    Page("/people", people.people_page, needs=READ),
    Page("/people/new", people.new_page, needs=MANAGE),
    Sent("/people/new", people.add, needs=MANAGE),
    Sent("/people/network", people.set_network, needs=MANAGE),
    Page("/people/{id}", people.person_page, needs=MANAGE),
    Sent("/people/{id}", people.change, needs=MANAGE),
    Sent("/people/{id}/password", people.set_password, needs=MANAGE),
    Page("/sign-in", signing.sign_in_page, needs=OPEN),
    Sent("/sign-in", signing.sign_in, needs=OPEN),
    Sent("/sign-out", signing.sign_out, needs=SELF),
    Page("/password", signing.password_page, needs=SELF),
    Sent("/password", signing.change_password, needs=SELF),
    Page("/setup", setup.setup_page, needs=OPEN),
    Sent("/setup", setup.set_up, needs=OPEN),
    # Day log
    Page("/log", log.newest, needs=READ),
    Page("/log/end/{id}", events.end_page, needs=WRITE),
    Sent("/log/end/{id}", events.end_event, needs=WRITE),
    Page("/log/entry/{id}", entries.history_page, needs=READ),
    Page("/log/entry/{id}/correct", entries.correct_page, needs=WRITE),
    Sent("/log/entry/{id}/correct", entries.correct, needs=WRITE),
    Sent("/log/entry/{id}/withdraw", entries.withdraw, needs=WRITE),
    Sent("/log/undo", entries.undo, needs=WRITE),
    Page("/log/{date}", log.day_page, needs=READ),
    Sent("/log/{date}/note", log.add_note, needs=WRITE),
    Sent("/log/{date}/reading", log.add_reading, needs=WRITE),
    Page("/log/{date}/close", close.close_page, needs=READ),
    Sent("/log/{date}/close", close.close, needs=WRITE),
    Page("/log/{date}/grid", grid.grid_page, needs=READ),
    Sent("/log/{date}/grid", grid.save_form, needs=WRITE),
    Batch("/log/{date}/readings.json", grid.save_json, needs=WRITE),
    Sent("/log/{date}/columns", grid.choose, needs=READ),
    Page("/log/{date}/{kind}", events.form_page, needs=WRITE),
    Sent("/log/{date}/{kind}", events.add_event, needs=WRITE),
    # Files
    Page("/imports", imports.list_page, needs=READ),
    Upload("/imports/send", imports.send, needs=WRITE),
    Sent("/imports/pick", imports.pick, needs=WRITE),
    Page("/imports/file/{digest}", imports.file_page, needs=WRITE),
    Sent("/imports/file/{digest}", imports.look, needs=WRITE),
    Page("/imports/job/{id}", imports.job_page, needs=WRITE),
    Sent("/imports/{id}/withdraw", imports.withdraw, needs=WRITE),
    # What every page needs
    Sent("/look", look.set_look, needs=OPEN),
    Page("/paper.css", look.paper, needs=OPEN),
    Files("/static", Path(__file__).with_name("static"), needs=OPEN),
)
