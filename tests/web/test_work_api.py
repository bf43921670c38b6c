"""Sending clips, measuring in the background, setups and regions over the interface; whole job."""

import os
import shutil
import time

import numpy as np
import pytest
from fastapi.testclient import TestClient

from blinkspan.jobs.background import Background
from blinkspan.jobs.review import listed_takes
from blinkspan.jobs.take_review import take_review
from blinkspan.jobs.task import ENDED, Stage
from blinkspan.web.api.uploads import shown_name
from blinkspan.web.app import create_app
from web.small_library import SETUPS, STUDY

PATIENCE_S = 60.0


def send(client, clip, name, setup="a new setup"):
    return client.post(
        "/api/uploads",
        params={"study": STUDY, "setup": setup, "name": name},
        content=clip,
        headers={"content-type": "application/octet-stream"},
    )


def settled(client, key):
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        task = next(task for task in client.get("/api/work").json() if task["key"] == key)
        if task["stage"] in ENDED:
            return task
        time.sleep(0.05)
    raise AssertionError(f"the work did not end: {task}")


def test_a_clip_that_was_sent_is_a_take_under_its_own_name(client, library, third_clip):
    answer = send(client, third_clip.read_bytes(), "../../cards/take 3.mp4")
    assert answer.status_code == 201
    assert answer.json()["name"] == "take 3.mp4"
    again = send(client, third_clip.read_bytes(), "other.mp4")
    assert (again.json()["new"], again.json()["take_id"]) == (False, answer.json()["take_id"])
    elsewhere = send(client, third_clip.read_bytes(), "take 3.mp4", setup=SETUPS[0])
    assert elsewhere.status_code == 409
    assert not list((library / "cache" / "incoming").iterdir())
    assert not list(library.parent.glob("cards*"))


def test_what_a_killed_program_left_half_sent_is_cleared_away(client, library, third_clip):
    room = library / "cache" / "incoming"
    room.mkdir(parents=True)
    forgotten, fresh = room / "forgotten.mp4", room / "fresh.mp4"
    for part in (forgotten, fresh):
        part.write_bytes(b"half a film")
    days_ago = time.time() - 2 * 24 * 3600
    os.utime(forgotten, (days_ago, days_ago))
    assert send(client, third_clip.read_bytes(), "third.mp4").status_code == 201
    assert list(room.iterdir()) == [fresh], "another clip may be on its way"


@pytest.mark.parametrize(
    ("name", "body"),
    [("notes.txt", b"words"), ("take.mp4", b"not a film"), ("take.mp4", b""), ("..", b"x")],
)
def test_what_is_no_film_is_refused_and_leaves_nothing(client, library, name, body):
    before = {p for p in library.rglob("*") if p.suffix == ".mp4"}
    answer = send(client, body, name)
    assert answer.status_code == 422
    assert str(library) not in answer.json()["error"]
    assert {p for p in library.rglob("*") if p.suffix in (".mp4", ".txt")} == before


@pytest.mark.parametrize("name", ["/etc/passwd", "a\x00b.mp4", "..", "con\n.mp4", "é" * 500])
def test_a_shown_name_holds_no_path(name):
    shown = shown_name(name)
    assert 0 < len(shown) <= 120
    assert not set("/\\\x00\n") & set(shown)
    assert shown[0] != "."


def test_a_take_is_measured_in_the_background(client, library, third_clip):
    key = send(client, third_clip.read_bytes(), "third.mp4").json()["take_id"]
    found = client.post(f"/api/takes/{key}/regions/search")
    assert found.status_code == 202
    regions = settled(client, found.json()["key"])["regions"]
    assert regions["lamp"][2] >= 2
    task = client.post("/api/work/measure", json={"study": STUDY, "take_id": key})
    assert (task.status_code, task.json()["of"]) == (202, 1)
    ended = settled(client, task.json()["key"])
    assert (ended["stage"], ended["done"]) == ("done", 1), ended
    [take] = [t for t in listed_takes(library, STUDY) if t.take.id == key]
    assert take.presses == int(ended["clips"][0]["told"].split()[0]) > 0


def test_paused_work_starts_no_clip_and_cancelled_work_leaves_what_was_kept(library):
    work = Background(library, processors=1)
    try:
        first = work.measure(STUDY, again=True)
        assert work.pause(first.key)
        time.sleep(0.3)
        assert first.stage is Stage.PAUSED
        assert first.done <= 1
        assert work.cancel(first.key)
        end = time.monotonic() + PATIENCE_S
        while first.stage not in ENDED and time.monotonic() < end:
            time.sleep(0.05)
        assert first.stage is Stage.CANCELLED
        assert Stage.CANCELLED in {clip.stage for clip in first.clips}
        assert not work.resume(first.key)
        second = work.measure(STUDY, again=True)
        while second.stage not in ENDED and time.monotonic() < end:
            time.sleep(0.05)
        assert (second.stage, second.done) == (Stage.DONE, 2)
    finally:
        work.close()
    assert all(take.presses for take in listed_takes(library, STUDY))


def test_only_the_folders_that_were_named_are_reached(client):
    assert client.get("/api/folders").json() == []
    for what in ("add", "watch"):
        given = {"folder": 0, "study": STUDY, "setup": SETUPS[0]}
        assert client.post(f"/api/work/{what}", json=given).status_code == 404
        path = {**given, "folder": "/etc"}
        assert client.post(f"/api/work/{what}", json=path).status_code == 422


def test_clips_of_a_named_folder_are_added_and_measured(library, third_clip, tmp_path):
    card = tmp_path / "card"
    card.mkdir()
    shutil.copy(third_clip, card / "third.mp4")
    app = create_app(library, folders=[card])
    with TestClient(app, base_url="http://127.0.0.1") as client:
        [folder] = client.get("/api/folders").json()
        assert folder == {"number": 0, "name": "card", "clips": 1}
        given = {"folder": 0, "study": STUDY, "setup": "from the card"}
        task = client.post("/api/work/add", json=given).json()
        assert settled(client, task["key"])["clips"][0]["told"] == "added"
        measuring = client.get("/api/work").json()[0]
        assert measuring["kind"] == "measure"
        assert settled(client, measuring["key"])["stage"] == "done"
    [take] = [each for each in listed_takes(library, STUDY) if each.setup == "from the card"]
    assert take.presses > 0


def test_a_setup_is_changed_by_one_person_at_a_time(client):
    setup = client.get("/api/setups/1").json()
    said = {"conditions": {**setup["conditions"], "spot": "second pier"}}
    first = client.put("/api/setups/1", json=said, headers={"if-match": setup["version"]})
    assert first.json()["conditions"]["spot"] == "second pier"
    late = client.put("/api/setups/1", json=said, headers={"if-match": setup["version"]})
    assert late.status_code == 409
    wrong = {"conditions": {"weather": "fair"}}
    version = {"if-match": first.json()["version"]}
    assert client.put("/api/setups/1", json=wrong, headers=version).status_code == 422


def test_regions_a_person_gives_are_kept_and_used_next(client):
    regions = client.get("/api/takes/1").json()["regions"]
    x, y, width, height = regions["lamp"]
    given = {
        "lamp": [x + 1, y, width, height],
        "panel": regions["panel"],
        "watch": regions["watch"],
        "by": "Mara",
    }
    answer = client.put("/api/takes/1/regions", json=given)
    assert answer.json()["given_regions"]["lamp"] == given["lamp"]
    for wrong in ({"lamp": regions["watch"]}, {"lamp": [0, 0, 9999, 5]}, {"watch": [0, 0, 0, 0]}):
        assert client.put("/api/takes/1/regions", json={**given, **wrong}).status_code == 422
    task = client.post("/api/work/measure", json={"study": STUDY, "setup": SETUPS[0]}).json()
    settled(client, task["key"])
    assert client.get("/api/takes/1").json()["regions"]["lamp"] == given["lamp"]


def test_the_trace_under_the_lamps_box_follows_the_lamp(client, small_take):
    box = ",".join(str(part) for part in client.get("/api/takes/1").json()["regions"]["lamp"])
    answer = client.get("/api/takes/1/box/light", params={"box": box})
    light, start_s = np.frombuffer(answer.content, "<f4").reshape(2, -1)
    lit = light > (light.min() + light.max()) / 2
    begun = [p for p in small_take.truth.presses if p.lamp_off_s < start_s[-1]]
    inside = [lit[(start_s > p.lamp_on_s + 0.01) & (start_s < p.lamp_off_s - 0.01)] for p in begun]
    assert len(begun) >= 3
    assert all(each.all() for each in inside)
    assert not lit[start_s < begun[0].lamp_on_s - 0.01].any()


def test_the_spot_of_a_setups_first_take_is_what_others_are_held_against(client):
    spot = client.get("/api/takes/1/spot").json()
    assert (spot["same"], spot["similarity"]) == (None, None)


def test_a_new_study_is_made_once(client):
    given = {"name": "Another", "question": "Which?"}
    assert client.post("/api/studies", json=given).status_code == 201
    assert client.post("/api/studies", json=given).status_code == 409
    assert "Another" in [study["name"] for study in client.get("/api/studies").json()]


def test_what_is_said_of_a_take_is_kept_with_it_and_can_be_unsaid(client, library):
    order = {"study": STUDY, "take_id": 1, "again": True}
    for said in ({"game_rate_hz": 30.0}, {}, {"game_rate_hz": None}):
        task = client.post("/api/work/measure", json=order | said).json()
        assert settled(client, task["key"])["stage"] == "done"
        rate_hz = take_review(library, 1).measurement.display.game_rate_hz
        assert rate_hz == (
            None if "game_rate_hz" in said and said["game_rate_hz"] is None else 30.0
        )


@pytest.mark.parametrize("rate_hz", [0.0, -60.0, 1e9, "soon"])
def test_a_rate_that_cannot_be_is_refused_before_anything_is_measured(client, rate_hz):
    order = {"study": STUDY, "take_id": 1, "again": True, "game_rate_hz": rate_hz}
    assert client.post("/api/work/measure", json=order).status_code == 422
    assert client.get("/api/work").json() == []
