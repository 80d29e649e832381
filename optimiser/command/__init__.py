"""The command line: ``coneloop VERB``.

Verbs live in modules of their own, loaded when they are used, so that ``coneloop --help`` answers
at once. Exit status: 0 done, 2 the user's input is wrong, 1 our own failure.
"""

from __future__ import annotations

from optimiser.command.root import Root

__all__ = ["main"]

main = Root(
    name="coneloop",
    help=(
        "Decides which 3D-printed loudspeaker cone to print next, from raw acoustic measurements."
    ),
    epilog=(
        "Run a verb inside an experiment folder, or name the folder with --in. "
        "`coneloop demo` shows the whole loop on invented data; `coneloop VERB --help` explains "
        "one verb."
    ),
)
