"""The command line: ``coneloop VERB``.

Verbs live in modules of their own, loaded when they are used, so that ``coneloop --help`` answers
at once. Exit status: 0 done, 2 the user's input is wrong, 1 our own failure.
"""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version

import click

from optimiser.command.root import Root

__all__ = ["main"]


def _version(ctx: click.Context, _param: click.Parameter, wanted: bool) -> None:
    """Print the installed version."""
    if wanted and not ctx.resilient_parsing:
        try:
            click.echo(f"coneloop {version('coneloop')}")
        except PackageNotFoundError:  # run from a checkout that is not installed
            click.echo("coneloop, not installed")
        ctx.exit()


def _help() -> None:
    """Show the verbs where none was given."""
    ctx = click.get_current_context()
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


main = Root(
    name="coneloop",
    callback=_help,
    invoke_without_command=True,
    params=[
        click.Option(
            ["--version"],
            is_flag=True,
            expose_value=False,
            is_eager=True,
            callback=_version,
            help="Show the version and leave.",
        )
    ],
    help=(
        "Decides which 3D-printed loudspeaker cone to print next, from raw acoustic measurements."
    ),
    epilog=(
        "Run a verb inside an experiment folder, or name the folder with --in. "
        "`coneloop demo` shows the whole loop on invented data; `coneloop VERB --help` explains "
        "one verb."
    ),
)
