"""Pages on which a person does something to a campaign, each deed a form with its reason."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request, Response, UploadFile
from fastapi.responses import HTMLResponse

from monochord.job.desk import deeds
from monochord.job.record.sign import Wish
from monochord.web.room import Room, room_of, shown

router = APIRouter(include_in_schema=False)
Said = Annotated[str, Form(max_length=2000)]


def _page(request: Request, name: str, *said: str) -> HTMLResponse:
    room = room_of(request)
    told = room.desk.told(name)
    found = deeds.readings(room.desk, name)
    return shown(
        request, "deeds.html", title=f"{name}, deeds", name=name, told=told, said=said, found=found,
        signatures=deeds.signatures(room.desk, str(told["girder"])) if told else [],
    )  # fmt: skip


@router.get("/girder/{name}/deeds")
def deeds_page(request: Request, name: str) -> HTMLResponse:
    """What can be done to a campaign."""
    return _page(request, name)


@router.post("/girder/{name}/aside")
def aside(request: Request, name: str, *, what: Said, address: Said, why: Said, by: Said = "") -> HTMLResponse:
    """Set a sighting or a scan aside."""
    room = room_of(request)
    return _page(request, name, deeds.set_aside(room.desk, name, what, address, why, by=by, context=room.tasks.context))


@router.post("/girder/{name}/again")
def again(request: Request, name: str, number: Annotated[int, Form(ge=1)], why: Said, by: Said = "") -> HTMLResponse:
    """Let a reading count again."""
    room = room_of(request)
    return _page(request, name, deeds.counts_again(room.desk, name, number, why, by=by, context=room.tasks.context))


@router.post("/girder/{name}/keep")
def keep(request: Request, name: str, by: Said = "") -> HTMLResponse:
    """Take a campaign into the record."""
    room = room_of(request)
    return _page(request, name, *deeds.into_record(room.desk, name, by, room.tasks.context))


@router.post("/girder/{name}/sign")
def sign(
    request: Request, name: str, *, key: UploadFile, passphrase: Said, role: Said, rule: Said = "", words: Said = ""
) -> HTMLResponse:
    """Sign a campaign's latest verdicts."""
    room = room_of(request)
    wish = Wish(f"girder/{_girder(room, name)}", role, rule, words)
    content = key.file.read(deeds.LONGEST_KEY + 1)
    return _page(request, name, *deeds.signed(room.desk, wish, content, passphrase, room.tasks.context))


def _girder(room: Room, name: str) -> str:
    told = room.desk.told(name) or {}
    return str(told.get("girder", name))


@router.get("/girder/{name}/results.zip")
def results(request: Request, name: str, kind: str = "") -> Response:
    """The last run's results for other programs."""
    found = deeds.handed_on(room_of(request).desk, name, filter(None, kind.split(",")))
    headers = {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(name)}.zip"}
    return Response(found, media_type="application/zip", headers=headers)
