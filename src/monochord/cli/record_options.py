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
seen = click.option(
    "--seen",
    type=int,
    default=None,
    metavar="NUMBER",
    help="Number of the last entry about the subject that you have seen (0: none): when there is a later one, it is told instead.",
)
