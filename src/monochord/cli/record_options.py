"""Options that commands about the record share."""

from __future__ import annotations

import click

at = click.option(
    "--at",
    "address",
    envvar="MONOCHORD_RECORD",
    default="record.sqlite",
    show_default=True,
    metavar="ADDRESS",
    help="The record: a file of SQLite, or postgresql://USER@HOST/DATABASE. The variable MONOCHORD_RECORD names it too.",
)
by = click.option("--by", default="", metavar="NAME", help="Who does this; without it, the name of the account.")
