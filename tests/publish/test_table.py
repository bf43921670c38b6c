"""The table of presses: exact, with pandas as a second reader."""

import io

import pandas as pd
from msgspec.structs import replace as changed

from blinkspan.publish.table import to_csv


def test_a_second_reader_finds_a_line_for_each_press(document):
    text = to_csv([document, changed(document, conditions={"patch": "1.2, hot"})])
    table = pd.read_csv(io.StringIO(text))
    assert len(table) == 2 * len(document.presses)
    assert table["span_ms"][0] == document.presses[0].span_ms
    assert table["condition patch"].tolist()[15:] == ["1.2, hot"] * 15
    assert table["condition console"].isna().tolist() == [False] * 15 + [True] * 15
    assert table.loc[8, ["response_s", "span_ms", "u_ms", "net_ms"]].isna().all()
    assert table["verdict"].value_counts().to_dict() == {
        "accepted": 24,
        "doubtful": 4,
        "rejected": 2,
    }
    assert table["reason"][3] == "two candidates"
    assert table["leading_term"][0] == "response onset"


def test_lines_end_as_rfc_4180_has_it(document):
    text = to_csv([document])
    assert text.count("\r\n") == text.count("\n") == 16


def test_a_name_is_never_a_formula(document):
    named = changed(document, take=changed(document.take, name="=1+1.mp4"))
    table = pd.read_csv(io.StringIO(to_csv([named])))
    assert set(table["take"]) == {"'=1+1.mp4"}


def test_no_takes_leave_the_head_line():
    assert to_csv([]).startswith("take,number,lamp_on_s,")
