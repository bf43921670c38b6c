"""Progress as the program tells it by itself (WHATWG HTML, 9.2, server-sent events); whole job."""

import json
import time

import httpx2
import pytest

from blinkspan.jobs.background import Background
from blinkspan.jobs.review import listed_takes
from blinkspan.jobs.task import ENDED, Stage
from web.small_library import STUDY, serving

PATIENCE_S = 120.0


def told(lines):
    """Yield the tasks of each event."""
    for line in lines:
        if line.startswith("data: "):
            yield json.loads(line.removeprefix("data: "))


def test_every_change_is_told_until_the_work_is_done(served):
    with httpx2.stream("GET", f"{served}/api/work/events", timeout=PATIENCE_S) as stream:
        assert stream.headers["content-type"].startswith("text/event-stream")
        events = told(stream.iter_lines())
        assert next(events) == []
        body = {"study": STUDY, "take_id": 1, "again": True}
        assert httpx2.post(f"{served}/api/work/measure", json=body).status_code == 202
        stages = []
        for tasks in events:
            stages.append(tasks[0]["stage"])
            if stages[-1] in ENDED:
                break
    assert stages[-1] == "done"
    assert set(stages) <= {"waiting", "running", "done"}
    assert len(stages) > 2  # and how far it was, meanwhile


def test_the_page_ends_though_a_browser_listens(library):
    with serving(library) as address:
        stream = httpx2.stream("GET", f"{address}/api/work/events", timeout=PATIENCE_S)
        answer = stream.__enter__()
        assert next(told(answer.iter_lines())) == []
        begun = time.monotonic()
    assert time.monotonic() - begun < 30.0  # it would never end otherwise
    stream.__exit__(None, None, None)


def test_two_tabs_are_told_the_same_and_one_that_is_closed_hinders_nobody(served):
    with httpx2.stream("GET", f"{served}/api/work/events", timeout=PATIENCE_S) as one:
        with httpx2.stream("GET", f"{served}/api/work/events", timeout=PATIENCE_S) as two:
            assert next(told(two.iter_lines())) == []
        events = told(one.iter_lines())
        next(events)
        httpx2.post(f"{served}/api/takes/1/regions/search")
        assert next(events)[0]["kind"] == "regions"


@pytest.mark.parametrize("after_s", [0.0, 1.0])
def test_cancelled_work_ends_its_clips_and_leaves_what_was_kept(library, after_s):
    before = listed_takes(library, STUDY)
    work = Background(library, processors=1)
    try:
        task = work.measure(STUDY, again=True)
        time.sleep(after_s)
        assert work.cancel(task.key)
        end = time.monotonic() + PATIENCE_S
        while task.stage not in ENDED and time.monotonic() < end:
            time.sleep(0.02)
        assert task.stage is Stage.CANCELLED
        assert task.clips[-1].stage is Stage.CANCELLED
    finally:
        work.close()
    assert [each.presses for each in listed_takes(library, STUDY)] == [e.presses for e in before]
