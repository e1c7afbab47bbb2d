"""A group of commands whose module loads only when one of them is asked for, so that the door opens quickly."""

from __future__ import annotations

import click


class Later(click.Group):
    """A group that finds its commands in ``module`` under the name ``COMMANDS``."""

    def __init__(self, name: str, module: str, words: str) -> None:
        super().__init__(name, help=words, no_args_is_help=True)
        self.module = module

    def _load(self) -> None:
        if not self.commands:
            from importlib import import_module

            for command in import_module(self.module).COMMANDS:
                self.add_command(command)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of the commands, in alphabetical order."""
        self._load()
        return super().list_commands(ctx)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of this name."""
        self._load()
        return super().get_command(ctx, cmd_name)
