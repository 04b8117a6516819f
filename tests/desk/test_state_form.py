"""A local pack must fit its plant: each column of the State's form has a figure, each limit a unit that is measured."""

import pytest
from tests.rules.planted import EMBERLY, LOCAL, book

from weirhouse.desk.state_form import fitting, names
from weirhouse.rules.packs import PackError

OWN = """
[[requirement]]
id = "own_limit"
title = "Our own limit"
citation = "permit EXAMPLE-001, condition 9 (invented)"
statistic = "each value"
limit = 0.5
unit = "NTU"
provenance = "memory"
check = { method = "none_above", channel = "combined_turbidity" }
"""


def test_the_example_fits_its_plant() -> None:
    assert {"date", "volume", "filter_1_max", "filtered_max", "ct_ratio", "ct_weakest"} <= set(names(EMBERLY))
    fitting(EMBERLY, book())
    fitting(EMBERLY, book(LOCAL + OWN))


@pytest.mark.parametrize("name", ["combined_higest", "filter_3_max", "Day", ""])
def test_a_name_without_a_figure_is_refused_with_its_line(name: str) -> None:
    text = LOCAL.replace('["combined_highest",', f'["{name}",')
    line = next(i for i, words in enumerate(text.splitlines(), 1) if f'["{name}",' in words)
    with pytest.raises(PackError) as error:
        fitting(EMBERLY, book(text))
    assert f'rules/local.toml, line {line}: the report of this plant has no column "{name}"' in str(error.value)
    assert ("Do you mean combined_highest?" in str(error.value)) == (name == "combined_higest")


def test_columns_on_one_line_and_the_same_name_twice() -> None:
    head, _, _ = LOCAL.partition("columns = [")
    text = head + 'columns = [["date", "Day"], ["date", "Again"],\n["dat", "Wrong"]]\n'
    with pytest.raises(PackError, match=rf"line {len(text.splitlines())}: .*Do you mean date\?"):
        fitting(EMBERLY, book(text))


def test_a_limit_in_a_unit_that_its_channel_does_not_measure_is_refused() -> None:
    text = LOCAL + OWN.replace('"NTU"', '"mg/L"')
    line = next(i for i, words in enumerate(text.splitlines(), 1) if "own_limit" in words)
    with pytest.raises(PackError, match=rf'line {line}: "own_limit" has a limit in mg/L, and combined_turbidity is'):
        fitting(EMBERLY, book(text))
