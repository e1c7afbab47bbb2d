"""How pages look, and the small scripts: files of the installed package, nothing from elsewhere."""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path

from fastapi import APIRouter, Response
from fastapi.responses import FileResponse

from monochord.report.page import style

router = APIRouter(include_in_schema=False)
STATIC = Path(__file__).with_name("static")
SCRIPTS = ("pages", "space", "plotly")


@cache
def _look() -> str:
    return style() + "\n" + (STATIC / "pages.css").read_text(encoding="utf-8")


@router.get("/look.css")
def look() -> Response:
    """The rules of looks of the report, then those of the pages."""
    return Response(_look(), media_type="text/css", headers={"Cache-Control": "max-age=3600"})


@router.get("/{name}.js")
def script(name: str) -> Response:
    """A script: one of ours, or the chart library of the installed package."""
    path = _library() if name == "plotly" else STATIC / f"{name}.js"
    if name not in SCRIPTS or not path.is_file():
        return Response("no such script", 404, media_type="text/plain")
    return FileResponse(path, media_type="text/javascript", headers={"Cache-Control": "max-age=3600"})


@cache
def _library() -> Path:
    """The chart library's script, found without importing the package."""
    found = find_spec("plotly")
    places = found.submodule_search_locations if found else None
    return Path(places[0]) / "package_data" / "plotly.min.js" if places else Path("plotly.min.js")
