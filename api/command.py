"""The command line: ``coolcrumb``. Each command is imported only when it is used."""

from __future__ import annotations

import importlib
from importlib.metadata import version as installed_version

import click

COMMANDS: dict[str, str] = {
    "demo": "api.demo.command:demo",
    "run": "api.pieces:run",
    "drivers": "api.pieces:drivers",
    "recorder": "api.pieces:recorder",
    "serve": "api.pieces:serve",
    "instruments": "api.instruments:instruments",
    "decode": "api.offline:decode",
    "replay": "api.offline:replay",
    "oven-drift": "api.drift:oven_drift",
    "export": "api.offline:export",
    "formula": "api.formulas:formula",
    "version": "api.command:version",
}


class _Lazy(click.Group):
    """A group that imports a command when it is called for, so that `replay` starts at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        place = COMMANDS.get(cmd_name)
        if place is None:
            return None
        module, _, name = place.partition(":")
        found = getattr(importlib.import_module(module), name)
        assert isinstance(found, click.Command)
        return found


@click.group(
    cls=_Lazy,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit codes: 0 done; 1 a fault of ours; 2 the command's words are off; 3 a file cannot "
    "be used; 4 something needed is missing or busy; 130 stopped by Ctrl-C.",
)
def main() -> None:
    """Is the amount right, is the oven right, when is it done, and when can I frost?

    coolcrumb reads kitchen scales and temperature probes, keeps every reading, and says what they
    mean while you bake. Try it without any instrument:  coolcrumb demo
    """


@click.command()
def version() -> None:
    """Print the version of coolcrumb and of the conclusions it draws."""
    from logger.events import ENGINE_VERSION

    click.echo(f"coolcrumb {installed_version('coolcrumb')} (conclusions {ENGINE_VERSION})")


if __name__ == "__main__":
    main()
