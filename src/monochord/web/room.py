"""What every request finds: the desk, the tasks, the news, and how pages are rendered."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import Request
from fastapi.responses import HTMLResponse

from monochord import __version__
from monochord.job.desk.place import Desk
from monochord.job.desk.tasks import Tasks
from monochord.report.page import unbroken
from monochord.web.hub import Hub

if TYPE_CHECKING:
    from jinja2 import Environment

TEMPLATES = Path(__file__).with_name("templates")


@dataclass(frozen=True, slots=True)
class Room:
    """What one server works with."""

    desk: Desk
    tasks: Tasks
    hub: Hub


def room_of(request: Request) -> Room:
    """The room of the server that was asked."""
    room: Room = request.app.state.room
    return room


@cache
def environment() -> Environment:
    """The templates of the pages."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["unbroken"] = unbroken
    made.globals["version"] = __version__
    return made


def shown(request: Request, name: str, status: int = 200, /, **what: object) -> HTMLResponse:
    """A page from its template; ``here`` is the address that was asked for."""
    text = (
        environment()
        .get_template(name)
        .render(here=request.url.path, has_record=bool(room_of(request).desk.record), **what)
    )
    return HTMLResponse(text, status_code=status)
