"""The pages, linked as the job goes. Each asks the desk, and computes nothing itself."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from monochord.job.desk.fleet import TITLES, answered
from monochord.web.room import room_of, shown

router = APIRouter(include_in_schema=False)

#: What a page with charts may do: the library makes functions and styles of its own; it still reaches nothing elsewhere.
CHARTS = (
    "default-src 'none'; script-src 'self' 'unsafe-eval'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
    "connect-src 'self'; font-src 'self'; worker-src blob:; form-action 'none'; frame-ancestors 'self'; base-uri 'none'"
)


@router.get("/")
def fleet(request: Request) -> HTMLResponse:
    """All campaigns: what was decided of each last."""
    desk = room_of(request).desk
    found = [(name, desk.told(name)) for name in desk.campaigns()]
    return shown(request, "fleet.html", title="Girders", campaigns=found, place=str(desk.folder))


@router.get("/girder/{name}", name="girder_page")
def girder(request: Request, name: str) -> Response:
    """One girder: its first part, or how to begin when nothing was evaluated yet."""
    told = room_of(request).desk.told(name)
    if told is None:
        return shown(request, "girder.html", title=name, name=name, told=None, part=None, body="")
    return RedirectResponse(request.url_for("part_page", name=name, part="line"), 303)


@router.get("/girder/{name}/{part}", name="part_page")
def part(request: Request, name: str, part: str) -> Response:
    """One part of a girder's pages."""
    desk = room_of(request).desk
    told, body = desk.told(name), desk.part(name, part)
    if told is None or body is None:
        return RedirectResponse(request.url_for("girder_page", name=name), 303) if told is None else _nothing(request)
    return shown(request, "girder.html", title=f"{name}, {part}", name=name, told=told, part=part, body=body)


@router.get("/girder/{name}/space/{occasion}.json")
def space_numbers(request: Request, name: str, occasion: str) -> Response:
    """An occasion's survey in space, as numbers."""
    found = room_of(request).desk.space(name, occasion)
    return Response(found, media_type="application/json") if found else _nothing(request)


@router.get("/girder/{name}/space/{occasion}")
def space(request: Request, name: str, occasion: str) -> Response:
    """An occasion's survey in space, drawn by the chart library: a page of its own, since that library needs looser rules."""
    told = room_of(request).desk.told(name) or {}
    spaces = told.get("spaces")
    if not isinstance(spaces, dict) or occasion not in spaces:
        return _nothing(request)
    page = shown(request, "space.html", name=name, occasion=occasion, **spaces[occasion])
    page.headers["Content-Security-Policy"] = CHARTS
    return page


@router.post("/girder/{name}/run")
def run(request: Request, name: str) -> Response:
    """Evaluate a campaign, as a task."""
    room = room_of(request)
    task = room.tasks.start("run", name, {"campaign": str(room.desk.campaign(name))})
    return RedirectResponse(request.url_for("task_page", key=task.id), 303)


@router.get("/fleet/{question}")
def fleet_question(request: Request, question: str, girder: str = "", quantity: str = "") -> HTMLResponse:
    """One question to the record of the fleet."""
    room = room_of(request)
    found = answered(room.desk, question, girder, quantity, room.tasks.context)
    return shown(request, "question.html", title=TITLES[question], titles=TITLES, question=question, found=found)


@router.get("/begin")
def begin(request: Request) -> HTMLResponse:
    """What is asked to begin a campaign from a folder."""
    return shown(request, "begin.html", title="Begin a campaign", given={})


@router.post("/begin")
def begun(
    request: Request,
    folder: Annotated[str, Form()],
    lab: Annotated[str, Form()],
    name: Annotated[str, Form()],
) -> Response:
    """Begin a campaign, as a task."""
    room = room_of(request)
    given = {
        "folder": str(Path(folder).expanduser()),
        "lab": str(Path(lab).expanduser()),
        "into": str(room.desk.new(name.strip())),
        "settings": {"girder": name.strip()},
    }
    task = room.tasks.start("begin", name.strip(), given)
    return RedirectResponse(request.url_for("task_page", key=task.id), 303)


@router.get("/tasks")
def tasks(request: Request) -> HTMLResponse:
    """Work that goes on and work that ended."""
    return shown(request, "tasks.html", title="Work", tasks=room_of(request).tasks.all())


@router.get("/tasks/{key}", name="task_page")
def task(request: Request, key: str) -> HTMLResponse:
    """One piece of work: how far it is, and a way to stop it."""
    found = room_of(request).tasks.task(key)
    return shown(request, "task.html", title=f"{found.name} {found.about}", task=found)


@router.post("/tasks/{key}/stop")
def stop(request: Request, key: str) -> Response:
    """Stop a piece of work."""
    room_of(request).tasks.stop(key)
    return RedirectResponse(request.url_for("task_page", key=key), 303)


def _nothing(request: Request) -> HTMLResponse:
    return shown(
        request, "refused.html", 404, faults=["no such page; choose one from the list above"], title="Not here"
    )
