"""Verb: page."""

from __future__ import annotations

from pathlib import Path

import click

from optimiser.command.options import Whole, in_folder
from optimiser.page.server import PORT, serve

__all__ = ["page_command"]


@click.command("page")
@click.option(
    "--port",
    type=Whole(1, 65535),
    metavar="N",
    help=f"The port; by default the first free one from {PORT} on.",
)
@click.option(
    "--share",
    is_flag=True,
    help="Answer to phones and other computers of the network too; each types an access code "
    "that the terminal shows. Nothing is encrypted: share only in a network that you trust.",
)
@click.option("--no-open", is_flag=True, help="Do not open the browser.")
@in_folder
def page_command(port: int | None, share: bool, no_open: bool, folder: Path) -> None:
    """Serve the experiment as a local web page.

    Where the folder holds no experiment yet, the page offers to start one.
    """
    serve(folder, port=port, share=share, browse=not no_open, tell=click.echo)
