"""The web application: routes, what a refusal looks like, and the headers that every answer carries."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import asdict

import python_multipart  # noqa: F401  # forms need it: better missing at the start than at the first form
from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.middleware.trustedhost import TrustedHostMiddleware

from monochord import __version__
from monochord.ground.faults import MonochordError, Refused
from monochord.job.context import real_context
from monochord.job.desk.place import Desk
from monochord.job.desk.tasks import Task, Tasks
from monochord.web import api, deeds, look, pages
from monochord.web.hub import Hub
from monochord.web.room import Room, shown

#: Nothing from elsewhere, no framing, no scripts in the page itself.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; font-src 'self'; "
    "frame-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


def create_app(desk: Desk, hosts: tuple[str, ...] = ("localhost", "127.0.0.1", "[::1]")) -> FastAPI:
    """The application over one desk.

    hosts  names under which it may be asked; others are refused, so that no page from elsewhere reaches it by a name of its own
    """
    hub = Hub()
    tasks = Tasks(real_context(), lambda task: hub.tell("task", told(task)))

    @asynccontextmanager
    async def life(_: FastAPI) -> AsyncIterator[None]:
        yield
        tasks.close()

    app = FastAPI(
        title="Monochord", version=__version__, lifespan=life, docs_url=None, redoc_url=None, openapi_url="/api/openapi.json",
        description="The actions of the pages, for programs. Lengths in m, angles in rad, times in UTC.",
    )  # fmt: skip
    app.state.room = Room(desk, tasks, hub)
    app.add_exception_handler(RequestValidationError, _misfit)
    app.add_exception_handler(Refused, _refused)
    app.add_exception_handler(MonochordError, _refused)
    app.middleware("http")(_guarded)
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=list(hosts), www_redirect=False)
    app.include_router(api.router)
    app.include_router(look.router)
    app.include_router(deeds.router)
    app.include_router(pages.router)
    return app


def told(task: Task) -> dict[str, object]:
    """A task as programs get it."""
    return asdict(task)


async def _guarded(request: Request, answer: Callable[[Request], Awaitable[Response]]) -> Response:
    """Refuse what another site's page sends; add the headers."""
    if request.method not in ("GET", "HEAD", "OPTIONS") and not _from_here(request):
        response: Response = JSONResponse(
            {"faults": ["sent by a page of another site; use the pages of this one"]}, 403
        )
    else:
        response = await answer(request)
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    return response


def _from_here(request: Request) -> bool:
    """Whether a request comes from a page of this server, or from a program, which sends neither header."""
    site, origin = request.headers.get("sec-fetch-site"), request.headers.get("origin")
    if site is not None and site not in ("same-origin", "none"):
        return False
    return origin is None or origin == f"{request.url.scheme}://{request.headers.get('host', '')}"


async def _misfit(request: Request, error: Exception) -> Response:
    """What was sent does not fit; told without what was given, which may be a passphrase."""
    found = error.errors() if isinstance(error, RequestValidationError) else []
    return _told_faults(
        request, [f"{'.'.join(str(p) for p in e['loc'][1:]) or 'the request'}: {e['msg'].lower()}" for e in found]
    )


async def _refused(request: Request, error: Exception) -> Response:
    return _told_faults(request, [str(fault) for fault in error.faults] if isinstance(error, Refused) else [str(error)])


def _told_faults(request: Request, faults: list[str]) -> Response:
    if request.url.path.startswith("/api/"):
        return JSONResponse({"faults": faults}, 422)
    return shown(request, "refused.html", 422, faults=faults, title="Refused")
