"""The take document: exact (keys, rounding, round trip); a second library judges its schema."""

import json
import math
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from blinkspan.errors import BadSample, BadSetting
from blinkspan.jobs.take_summary import summary_of
from blinkspan.presses.press import Reason, Verdict
from blinkspan.publish.document import document_of, json_schema, read_document, to_json
from blinkspan.publish.words import REASONS, VERDICTS
from blinkspan.quantities import Measured

DOCS = Path(__file__).parents[2] / "docs"


def test_the_promised_keys_are_there(document):
    said = json.loads(to_json(document))
    assert next(iter(said)) == "schema"
    assert said["schema"] == "blinkspan.take/1"
    assert {"take", "regions", "camera", "presses", "summary"} <= said.keys()
    promised = {
        "lamp_on_s", "lamp_off_s", "response_s", "span_ms", "u_ms",
        "net_ms", "net_u_ms", "verdict", "reason", "budget",
    }  # fmt: skip
    assert all(promised <= press.keys() for press in said["presses"])
    assert {
        "n", "median_ms", "median_interval_ms", "low_ms", "high_ms", "spread_ms",
        "lower_quartile_ms", "upper_quartile_ms", "median_game_frames",
    } <= said["summary"].keys()  # fmt: skip


def test_a_press_says_what_was_measured(measured):
    measurement, summary = measured
    press, said = measurement.presses[3], document_of(measurement, summary).presses[3]
    assert said.lamp_on_s == round(press.lamp_on.value, 7)
    assert said.span_ms == round(1e3 * press.span.value, 4)
    assert said.u_ms == round(1e3 * press.span.u, 4)
    # The lag's own doubt joins the net's by root of summed squares (JCGM 100:2008, 5.1.2).
    assert said.net_u_ms == pytest.approx(math.hypot(said.u_ms, 0.9), abs=2e-4)
    assert (said.verdict, said.reason) == (Verdict.DOUBTFUL, Reason.TWO_CANDIDATES)
    assert said.budget.leading == "response onset"
    assert math.hypot(*(t.u_ms for t in said.budget.terms)) == pytest.approx(said.u_ms, abs=2e-4)


def test_the_net_median_stands_beside_the_spans(measured):
    measurement, _ = measured
    lag_s = measurement.display.lag_s
    summary, net = summary_of(measurement.presses, measurement.display)
    said = json.loads(to_json(document_of(measurement, summary, net=net)))
    less = said["summary"]["median_ms"] - said["net_summary"]["median_ms"]
    assert less == pytest.approx(1e3 * lag_s.value, abs=2e-4)
    # The lag's own doubt is in the net's interval alone.
    low, high = said["net_summary"]["median_interval_ms"]
    assert high - low > np.diff(said["summary"]["median_interval_ms"])


def test_without_a_lag_there_is_no_net_summary(measured):
    assert json.loads(to_json(document_of(*measured)))["net_summary"] is None


def test_none_becomes_null(document):
    silent = json.loads(to_json(document))["presses"][8]
    assert silent["reason"] == "no response"
    empty = ("response_s", "response_row_px", "span_ms", "u_ms", "net_ms", "net_u_ms")
    assert [silent[key] for key in empty] == [None] * len(empty)


def test_reading_what_was_written_is_identity(document):
    assert read_document(to_json(document)) == document
    assert read_document(to_json(document).decode()) == document


def test_an_unknown_key_is_passed_over(document):
    said = json.loads(to_json(document)) | {"weather": "rain"}
    assert read_document(json.dumps(said)) == document


@given(st.floats(0.0, 3600.0), st.floats(1e-7, 1.0))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])  # it is never changed
def test_rounding_stays_below_a_tenth_of_a_microsecond(measured, at_s, u_s):
    measurement, summary = measured
    press = replace(measurement.presses[0], lamp_on=Measured(at_s, u_s))
    said = document_of(replace(measurement, presses=(press,)), summary).presses[0]
    assert abs(said.lamp_on_s - at_s) <= 0.51e-7
    assert abs(said.lamp_on_u_ms - 1e3 * u_s) <= 0.51e-4


@pytest.mark.parametrize("wrong", [math.nan, math.inf, -math.inf])
def test_numbers_that_json_cannot_hold_are_refused(measured, wrong):
    measurement, summary = measured
    press = replace(measurement.presses[0], span=Measured(wrong, 0.1))
    with pytest.raises(BadSample, match="finite"):
        document_of(replace(measurement, presses=(press,)), summary)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "not a take document"),
        ("[1, 2]", "not a take document"),
        ("{}", "not a take document"),
        (b"\xff\xfe\x00", "not a take document"),
        ('{"schema": "\ud800"}', "not a take document"),
        ('{"schema": "blinkspan.take/2"}', "reads 'blinkspan.take/1'"),
        ('{"schema": "two\\nlines"}', "measure the take again"),
        ('{"schema": "blinkspan.take/1"}', "damaged"),
    ],
)
def test_other_texts_are_refused_in_one_line(text, said):
    with pytest.raises(BadSetting, match=said) as refusal:
        read_document(text)
    assert "\n" not in str(refusal.value)


def test_an_independent_validator_agrees_with_the_schema(document):
    # jsonschema implements JSON Schema 2020-12 by itself.
    judge = jsonschema.Draft202012Validator(json.loads(json_schema()))
    said = json.loads(to_json(document))
    assert list(judge.iter_errors(said)) == []
    said["presses"][0]["verdict"] = "perhaps"
    del said["take"]["name"]
    assert len(list(judge.iter_errors(said))) == 2


def test_the_schema_in_the_docs_is_the_programs_own():
    assert (DOCS / "take.schema.json").read_bytes() == json_schema()


def test_every_key_verdict_and_reason_is_described_in_the_docs():
    page = (DOCS / "result-format.md").read_text(encoding="utf-8")
    parts = json.loads(json_schema())["$defs"]
    described = [part for part in parts.values() if "properties" in part]
    assert len(described) == 10
    for part in described:
        place = page.index(f"\n\n{part['description']}\n\n")
        table = page[place:].split("\n## ")[0]
        for key, field in part["properties"].items():
            assert f"| `{key}` |" in table
            assert f"| {field['description']} |" in table
    for word, meaning in {**REASONS, **VERDICTS}.items():
        assert f"| `{word}` | {meaning} |" in page
    assert set(REASONS) == set(Reason)
    assert set(VERDICTS) == set(Verdict)
