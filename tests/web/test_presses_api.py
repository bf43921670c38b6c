"""Presses and corrections over the interface; whole job on staged film, and exact."""

import numpy as np
import pytest

from blinkspan.jobs.take_review import take_review

LATE_S = 0.010


def presses(client, take=1):
    return client.get(f"/api/takes/{take}/presses").json()


def correct(client, press, version=None, **said):
    return client.post(
        f"/api/takes/1/presses/{press['id']}/corrections",
        json={"by": "Mara", "why": "seen in the frames", **said},
        headers={"if-match": version or press["version"]},
    )


def step(client, name, version):
    return client.post(f"/api/takes/1/{name}", json={"by": "Ivo"}, headers={"if-match": version})


def test_presses_come_as_measured_and_in_order_of_doubt(client, library):
    state = presses(client)
    kept = [each.kept.press for each in take_review(library, 1).presses]
    assert [p["lamp_on"]["at_s"] for p in state["presses"]] == [p.lamp_on.value for p in kept]
    by_key = {p["id"]: p for p in state["presses"]}
    rank = {"doubtful": 0, "accepted": 1, "rejected": 2}
    ranks = [rank[by_key[key]["verdict"]] for key in state["order"]]
    assert ranks == sorted(ranks)
    assert {by_key[key]["verdict"] for key in state["order"][:1]} == {"doubtful"}
    for press in state["presses"]:
        total = np.sqrt(sum(term["u_ms"] ** 2 for term in press["budget"]))
        if press["span"] is not None:
            assert press["span"]["u_ms"] == pytest.approx(total)


def test_a_correction_is_kept_at_once_moves_the_summary_and_names_its_author(client):
    before = presses(client)
    press = next(p for p in before["presses"] if p["verdict"] == "accepted")
    answer = correct(client, press, response_s=press["response"]["at_s"] + LATE_S)
    assert answer.status_code == 201
    after = next(p for p in answer.json()["presses"] if p["id"] == press["id"])
    assert after["span"]["ms"] == pytest.approx(press["span"]["ms"] + 1e3 * LATE_S)
    assert after["measured_response_s"] == press["response"]["at_s"]
    assert answer.json() == presses(client)
    [row] = client.get("/api/takes/1/corrections").json()
    assert (row["by"], row["why"], row["corrects"]) == ("Mara", "seen in the frames", "response")
    summary = answer.json()["summary"]
    spans = [p["span"]["ms"] for p in answer.json()["presses"] if p["verdict"] == "accepted"]
    assert summary["median_ms"] == pytest.approx(np.median(spans), abs=1e-3)


def test_the_doubt_of_a_marked_frame_is_half_a_frame_either_way(client):
    press = presses(client)["presses"][0]
    answer = correct(client, press, lamp_on_s=press["lamp_on"]["at_s"] + 0.001).json()
    after = next(p for p in answer["presses"] if p["id"] == press["id"])
    # GUM 4.3.7: half width over the root of three
    assert after["lamp_on"]["u_ms"] == pytest.approx(1e3 / 240 / 2 / 3**0.5)


def test_two_tabs_do_not_overwrite_each_other(client):
    one = two = presses(client)["presses"][0]
    assert correct(client, one, verdict="rejected").status_code == 201
    late = correct(client, two, verdict="accepted")
    assert late.status_code == 409
    assert "corrected elsewhere" in late.json()["error"]
    assert presses(client)["presses"][0]["verdict"] == "rejected"


def test_two_tabs_may_correct_different_presses(client):
    one, two = presses(client)["presses"][:2]
    assert correct(client, one, verdict="rejected").status_code == 201
    assert correct(client, two, verdict="rejected").status_code == 201


def test_undo_and_redo_walk_back_and_forth_as_in_an_editor(client):
    states = [presses(client)]
    for verdict in ("rejected", "doubtful"):
        states.append(correct(client, states[-1]["presses"][0], verdict=verdict).json())

    def verdict_after(name):
        state = step(client, name, presses(client)["take"]["version"]).json()
        return state["presses"][0]["verdict"]

    first = states[0]["presses"][0]["verdict"]
    walk = ("undo", "undo", "redo", "redo", "undo", "redo")
    assert [verdict_after(name) for name in walk] == [
        "rejected",
        first,
        "rejected",
        "doubtful",
        "rejected",
        "doubtful",
    ]
    refused = step(client, "redo", presses(client)["take"]["version"])
    assert (refused.status_code, refused.json()["error"]) == (
        422,
        "there is nothing to redo in this take",
    )


def test_an_undo_from_a_stale_tab_is_refused(client):
    before = presses(client)
    correct(client, before["presses"][0], verdict="rejected")
    assert step(client, "undo", before["take"]["version"]).status_code == 409


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({}, "a corrected verdict is missing"),
        ({"lamp_on_s": float("1e400")}, "finite"),
        ({"verdict": "maybe"}, "accepted"),
        ({"wrong": 1}, "extra inputs are not permitted"),
        ({"by": " "}, "needs the name"),
    ],
)
def test_a_correction_that_cannot_be_is_refused_in_plain_words(client, said, told):
    press = presses(client)["presses"][0]
    headers = {"if-match": press["version"], "content-type": "application/json"}
    import json

    body = json.dumps({"by": "Mara", **said})
    answer = client.post(
        f"/api/takes/1/presses/{press['id']}/corrections", content=body, headers=headers
    )
    assert answer.status_code == 422
    assert told in answer.json()["error"]


def test_a_take_or_press_that_is_not_there_is_told(client):
    assert client.get("/api/takes/99/presses").status_code == 404
    press = presses(client)["presses"][0]
    assert correct(client, {**press, "id": 10**9}, verdict="rejected").status_code == 409
    assert correct(client, press, "nonsense", verdict="rejected").status_code == 422


@pytest.mark.parametrize("kind", ["lamp", "response"])
def test_traces_are_what_the_run_measured(client, library, kind):
    found = take_review(library, 1).measurement
    trace = found.lamp_trace if kind == "lamp" else found.response_trace
    answer = client.get(f"/api/takes/1/traces/{kind}")
    values, start_s = np.frombuffer(answer.content, "<f4").reshape(2, -1)
    assert int(answer.headers["x-samples"]) == trace.values.size == values.size
    np.testing.assert_array_equal(values, trace.values.astype("<f4"))
    np.testing.assert_allclose(start_s, trace.start_s, atol=4e-6)
    assert float(answer.headers["x-exposure-seconds"]) == found.camera.exposure_s.value
