"""Serve the pages: on this machine alone unless somebody asks for more."""

from __future__ import annotations

from pathlib import Path

from monochord.job.desk.place import Desk
from monochord.web.app import create_app


def serve(folder: Path, record: str, port: int) -> None:
    """Serve the pages of a folder of campaigns on 127.0.0.1 until interrupted."""
    import uvicorn

    uvicorn.run(
        create_app(Desk(folder.resolve(), record)),
        host="127.0.0.1",
        port=port,
        log_level="warning",
        server_header=False,
    )
