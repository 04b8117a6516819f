"""Does every address say what one must be allowed to do there, and is nobody else answered?"""

import pytest

from weirhouse.records.roles import MAY, OPEN, SELF, WRITE, Need, Role, may
from weirhouse.web.routes import TABLE
from weirhouse.web.table import Line, Page, RouteError, Sent

ON_THE_DEVICE = {"/look", "/log/{date}/columns"}  # a choice that is kept in a cookie alone


def test_a_line_without_a_need_cannot_be_built() -> None:
    with pytest.raises(TypeError):
        Page("/new", lambda source, request: None)  # type: ignore[call-arg]
    with pytest.raises(TypeError):
        Sent("/new", lambda source, request, form: None)  # type: ignore[call-arg]
    with pytest.raises(RouteError, match="no Need"):
        Page("/new", lambda source, request: None, needs="read")  # type: ignore[arg-type]


@pytest.mark.parametrize("line", TABLE, ids=lambda line: f"{type(line).__name__} {line.path}")
def test_only_what_shows_nothing_of_the_plant_is_open(line: Line) -> None:
    assert isinstance(line.needs, Need)
    if line.needs is OPEN:
        assert line.path in {"/look", "/paper.css", "/static", "/sign-in", "/setup"}


@pytest.mark.parametrize("line", [line for line in TABLE if line.method == "POST"], ids=lambda line: line.path)
def test_what_writes_to_the_records_needs_more_than_looking(line: Line) -> None:
    if line.path in ON_THE_DEVICE or line.needs in (OPEN, SELF):
        assert line.path in ON_THE_DEVICE | {"/sign-in", "/setup", "/sign-out", "/password"}
    else:
        assert not may(Role.INSPECTOR, line.needs)


def test_the_inspector_looks_and_writes_nothing() -> None:
    assert {need for need in Need if may(Role.INSPECTOR, need)} == {Need.OPEN, Need.READ, Need.SELF}
    assert not any(may(None, need) for need in Need if need is not OPEN)
    assert set(MAY) == set(Need)
    assert may(Role.RELIEF, WRITE) and not may(Role.RELIEF, Need.MANAGE) and not may(Role.RELIEF, Need.CLOSE)
