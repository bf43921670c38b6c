"""Conditions and profiles of setups, as a person says them."""

from dataclasses import asdict
from typing import Annotated

from fastapi import APIRouter, Header
from starlette.responses import Response

from blinkspan.errors import BadSetting, NotInLibrary
from blinkspan.jobs.take_setup import CONDITIONS, SetupForm, edit_setup, setup_form, still_of
from blinkspan.study.setup import Conditions
from blinkspan.web.api.values import Answers, Key, Refusal, SetupGiven, SetupState
from blinkspan.web.desk import TheDesk

router = APIRouter(prefix="/api/setups/{setup_id}", tags=["setups"])

_CHANGED: Answers = {409: {"model": Refusal, "description": "It changed since it was seen."}}
_PNG: Answers = {200: {"content": {"image/png": {}}, "description": "The still."}}


@router.get("")
def setup(desk: TheDesk, setup_id: Key) -> SetupState:
    """Return a setup as it is kept."""
    return _state(setup_form(desk.library, setup_id))


@router.put("", responses=_CHANGED)
def change_setup(
    desk: TheDesk,
    setup_id: Key,
    given: SetupGiven,
    if_match: Annotated[str, Header(description="The version that was seen.", max_length=60)],
) -> SetupState:
    """Return a setup after its conditions and profiles were said anew."""
    unknown = sorted(set(given.conditions) - set(CONDITIONS))
    if unknown:
        raise BadSetting(
            f"{unknown[0]!r} is no condition of a setup; use one of {', '.join(CONDITIONS)}"
        )
    version = if_match.strip().strip('"')
    if not (version.isascii() and version.isdigit() and len(version) < 18):
        raise BadSetting(f"the version {if_match!r} is none of ours; send the one of the setup")
    edit_setup(
        desk.library,
        setup_id,
        int(version),
        Conditions(**given.conditions),
        given.display,
        given.camera,
    )
    return _state(setup_form(desk.library, setup_id))


@router.get("/still", response_class=Response, responses=_PNG)
def still(desk: TheDesk, setup_id: Key) -> Response:
    """Return the picture that shows the setup's spot."""
    png = still_of(desk.library, setup_id)
    if png is None:
        raise NotInLibrary("this setup has no still yet; its first take gives one")
    return Response(png, media_type="image/png", headers={"Cache-Control": "private, no-cache"})


def _state(form: SetupForm) -> SetupState:
    kept = form.kept
    return SetupState(
        id=kept.id,
        study=kept.study,
        name=kept.setup.name,
        conditions=asdict(kept.setup.conditions),
        display=kept.setup.display,
        camera=kept.setup.camera,
        tags=kept.setup.tags,
        version=f'"{kept.revision}"',
    )
