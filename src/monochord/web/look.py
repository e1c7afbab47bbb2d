"""How pages look, and the small scripts: files of the installed package, nothing from elsewhere."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from fastapi import APIRouter, Response

from monochord.report.page import style

router = APIRouter(include_in_schema=False)
STATIC = Path(__file__).with_name("static")


@cache
def _look() -> str:
    return style() + "\n" + (STATIC / "pages.css").read_text(encoding="utf-8")


@router.get("/look.css")
def look() -> Response:
    """The rules of looks of the report, then those of the pages."""
    return Response(_look(), media_type="text/css", headers={"Cache-Control": "max-age=3600"})


@router.get("/pages.js")
def script() -> Response:
    """The script that shows news as they come."""
    text = (STATIC / "pages.js").read_text(encoding="utf-8")
    return Response(text, media_type="text/javascript", headers={"Cache-Control": "max-age=3600"})
