"""The same actions for programs, described by OpenAPI at /api/openapi.json."""

from __future__ import annotations

import json
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import StreamingResponse
from pydantic import BaseModel, Field

from monochord.job.desk.fleet import answered
from monochord.job.desk.tasks import Task
from monochord.web.room import room_of


class Faults(BaseModel):
    """Why something was refused: each fault with what was given, what was expected, and what to do."""

    faults: list[str]


class Campaign(BaseModel):
    """A campaign, and what its last evaluation begins with."""

    name: str
    headline: str | None = Field(None, description="the sentence that comes first, null when it was not evaluated yet")
    run: str | None = Field(None, description="id of the last run whose pages stand here")
    made_at: str | None = Field(None, description="UTC")
    verdicts: dict[str, int] = Field({}, description="how many verdicts of each kind the last occasion has")


class Work(BaseModel):
    """A piece of work that goes on beside."""

    id: str
    name: str
    about: str
    begun: str
    state: str = Field(description="running, done, refused, stopped or failed")
    lines: list[str]
    faults: list[str]


Name = Annotated[str, Path(min_length=1, max_length=80)]
Question = Annotated[str, Path(min_length=1, max_length=20)]
Short = Annotated[str, Query(max_length=200)]
Key = Annotated[str, Path(min_length=1, max_length=64)]
router = APIRouter(prefix="/api", tags=["campaigns"], responses={422: {"model": Faults, "description": "refused"}})


def _work(task: Task) -> Work:
    return Work(
        id=task.id,
        name=task.name,
        about=task.about,
        begun=task.begun,
        state=task.state,
        lines=task.lines,
        faults=task.faults,
    )


@router.get("/campaigns")
def campaigns(request: Request) -> list[Campaign]:
    """All campaigns of the folder."""
    desk = room_of(request).desk
    return [_campaign(name, desk.told(name) or {}) for name in desk.campaigns()]


def _campaign(name: str, told: object) -> Campaign:
    assert isinstance(told, dict)
    return Campaign(name=name, **{key: told[key] for key in ("headline", "run", "made_at", "verdicts") if key in told})


@router.get("/campaigns/{name}/result", response_class=Response, responses={200: {"content": {"application/json": {}}}})
def result(request: Request, name: Name) -> Response:
    """The result document of the last run: strict JSON, what is not known null with its reason beside."""
    text = room_of(request).desk.document(name)
    if text is None:
        return Response(json.dumps({"faults": ["not evaluated yet; run it first"]}), 404, media_type="application/json")
    return Response(text, media_type="application/json")


@router.get("/fleet/{question}", response_class=Response, responses={200: {"content": {"application/json": {}}}})
def fleet(request: Request, question: Question, girder: Short = "", quantity: Short = "") -> Response:
    """One question to the record: state, margins, outliers, trends, charts or magnets."""
    room = room_of(request)
    found = answered(room.desk, question, girder, quantity, room.tasks.context)
    return Response(found.document, media_type="application/json")


@router.post("/campaigns/{name}/run", status_code=202)
def run(request: Request, name: Name) -> Work:
    """Evaluate a campaign; the answer is the work to watch."""
    room = room_of(request)
    return _work(room.tasks.start("run", name, {"campaign": str(room.desk.campaign(name))}))


@router.get("/tasks")
def tasks(request: Request) -> list[Work]:
    """Work that goes on and work that ended, the newest first."""
    return [_work(task) for task in room_of(request).tasks.all()]


@router.get("/tasks/{key}")
def task(request: Request, key: Key) -> Work:
    """One piece of work."""
    return _work(room_of(request).tasks.task(key))


@router.post("/tasks/{key}/stop")
def stop(request: Request, key: Key) -> Work:
    """Stop a piece of work; what it had not finished is not there."""
    return _work(room_of(request).tasks.stop(key))


@router.get("/events", response_class=StreamingResponse, responses={200: {"content": {"text/event-stream": {}}}})
def events(request: Request) -> StreamingResponse:
    """News as server-sent events: "task" with a piece of work, "dropped" with how many news a slow viewer missed."""
    return StreamingResponse(room_of(request).hub.watch(), media_type="text/event-stream")
