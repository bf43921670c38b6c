"""Work in the background: measuring, adding from a folder, watching one, looking for regions."""

from asyncio import sleep
from collections.abc import AsyncIterator

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from pydantic import TypeAdapter
from starlette.responses import StreamingResponse

from blinkspan.errors import LibraryConflict
from blinkspan.jobs.add import is_clip
from blinkspan.jobs.task import Task
from blinkspan.publish.inspection_words import advice_words, inspection_rows
from blinkspan.rig.inspection import Inspection
from blinkspan.web.api.states import regions_state
from blinkspan.web.api.values import (
    ClipState,
    FolderGiven,
    FolderState,
    InspectionState,
    Key,
    MeasureGiven,
    TaskState,
)
from blinkspan.web.desk import Desk, TheDesk
from blinkspan.web.page_words import on_page

router = APIRouter(prefix="/api", tags=["work"])

_TASKS = TypeAdapter(tuple[TaskState, ...])
_EVERY_S = 0.2
_QUIET_S = 10.0
_AGAIN_MS = 1000  # how long a browser waits before it asks anew


@router.get("/work")
def tasks(desk: TheDesk) -> tuple[TaskState, ...]:
    """Return what is being done and what was done last, the newest first."""
    return tuple(_state(task) for task in desk.work.tasks())


@router.get("/work/events", include_in_schema=False)
def task_events(desk: TheDesk, request: Request) -> StreamingResponse:
    """Return the same as a stream that tells every change (WHATWG, server-sent events)."""
    return StreamingResponse(
        _told_on(desk, request),
        media_type="text/event-stream",
        headers={"Cache-Control": "no-store"},
    )


async def _told_on(desk: Desk, request: Request) -> AsyncIterator[str]:
    work = await run_in_threadpool(lambda: desk.work)
    yield f"retry: {_AGAIN_MS}\n\n"
    before, quiet_s = "", 0.0
    while not (desk.ending.is_set() or await request.is_disconnected()):
        told = _TASKS.dump_json(tuple(_state(task) for task in work.tasks())).decode()
        if told != before:
            before, quiet_s = told, 0.0
            yield f"data: {told}\n\n"
        elif quiet_s > _QUIET_S:  # a line now and then finds out whether the browser is there
            quiet_s = 0.0
            yield ": quiet\n\n"
        await sleep(_EVERY_S)
        quiet_s += _EVERY_S


@router.post("/work/measure", status_code=202)
def measure(desk: TheDesk, given: MeasureGiven) -> TaskState:
    """Begin to measure what is new or stale in a study, a setup or a take."""
    task = desk.work.measure(
        given.study, given.setup, given.take_id, again=given.again, said=given.known
    )
    return _state(task)


@router.post("/takes/{take_id}/regions/search", status_code=202)
def look_for_regions(desk: TheDesk, take_id: Key) -> TaskState:
    """Begin to look for the lamp, the panel and the watched part of a take."""
    return _state(desk.work.propose(take_id))


@router.post("/takes/{take_id}/inspect", status_code=202)
def inspect(desk: TheDesk, take_id: Key) -> TaskState:
    """Begin to look at what a take shows of the rig: camera, lamp, screen, and what would help."""
    return _state(desk.work.inspect(take_id))


@router.get("/folders")
def folders(desk: TheDesk) -> tuple[FolderState, ...]:
    """Return the folders from which clips may be added, as named when the page was started."""
    return tuple(
        FolderState(number=number, name=folder.name, clips=sum(map(is_clip, folder.rglob("*"))))
        for number, folder in enumerate(desk.folders)
    )


@router.post("/work/add", status_code=202)
def add(desk: TheDesk, given: FolderGiven) -> TaskState:
    """Begin to add the clips of a folder to a setup and to measure them."""
    return _state(desk.work.add(desk.folder(given.folder), given.study, given.setup))


@router.post("/work/watch", status_code=202)
def watch(desk: TheDesk, given: FolderGiven) -> TaskState:
    """Begin to add and measure every clip that is in a folder or comes into it."""
    return _state(desk.work.watch(desk.folder(given.folder), given.study, given.setup))


@router.post("/work/{key}/pause")
def pause(desk: TheDesk, key: Key) -> TaskState:
    """Let a task finish the clips in hand and start no other."""
    return _told(desk, key, desk.work.pause(key), "paused")


@router.post("/work/{key}/resume")
def resume(desk: TheDesk, key: Key) -> TaskState:
    """Let a paused task go on."""
    return _told(desk, key, desk.work.resume(key), "resumed")


@router.post("/work/{key}/cancel")
def cancel(desk: TheDesk, key: Key) -> TaskState:
    """End a task; what it has kept stays."""
    return _told(desk, key, desk.work.cancel(key), "cancelled")


def _told(desk: Desk, key: int, done: bool, what: str) -> TaskState:
    found = next((task for task in desk.work.tasks() if task.key == key), None)
    if found is None or not done:
        raise LibraryConflict(f"the work {key} cannot be {what}: it has ended or was never begun")
    return _state(found)


def _state(task: Task) -> TaskState:
    clips = tuple(
        ClipState(
            name=clip.name,
            take_id=clip.take_id,
            stage=clip.stage,
            doing=clip.doing,
            share=clip.share,
            told=on_page(clip.told),
        )
        for clip in tuple(task.clips)
    )
    return TaskState(
        key=task.key,
        kind=task.kind,
        title=task.title,
        stage=task.stage,
        told=on_page(task.told),
        can_pause=task.can_pause,
        done=task.done,
        of=len(clips),
        clips=clips,
        regions=regions_state(task.regions),
        inspection=None if task.inspection is None else _inspection(task.inspection),
    )


def _inspection(seen: Inspection) -> InspectionState:
    return InspectionState(
        seen=tuple((name, on_page(told)) for name, told in inspection_rows(seen)),
        advice=tuple(map(on_page, advice_words(seen))),
        notes=tuple(map(on_page, seen.notes)),
        measurable=seen.budget is not None,
    )
