"""The command that opens the pages."""

from __future__ import annotations

import click


@click.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False), default=".")
@click.option(
    "--at",
    "record",
    envvar="MONOCHORD_RECORD",
    default="",
    metavar="ADDRESS",
    help="The record, for pages about the fleet.",
)
@click.option("--port", default=8750, show_default=True, type=click.IntRange(1, 65535), help="Port on this machine.")
def serve(folder: str, record: str, port: int) -> None:
    """Serve pages about the campaigns in FOLDER, for a browser on this machine.

    \b
    Example:
      monochord serve campaigns
    """  # noqa: D301
    from pathlib import Path

    from monochord.web.serve import serve as served

    click.echo(f"The pages stand at http://127.0.0.1:{port}/ until this command is interrupted (Ctrl+C).")
    served(Path(folder), record, port)
