"""The root of the command line: verbs on demand, one style of error, three exit statuses."""

from __future__ import annotations

import difflib
import importlib
import json
import os
import sys
from collections.abc import Iterable, Sequence
from typing import Any

import click

from experiments.errors import ExperimentError, Problem
from optimiser.command.failure import problem_records
from optimiser.diagnosing import write_diagnosis

__all__ = ["VERBS", "Root"]

# Verb: (module, one line for the list). The line is repeated from the verb's own help, so that
# the list needs no module; a test keeps the two equal.
VERBS: dict[str, tuple[str, str]] = {
    "demo": ("demo", "Build the demo experiment and run the whole loop on it."),
    "start": ("start", "Start a new experiment with a commented plan."),
    "check": ("check", "Check plan, store and curves: everything that is wrong, at once."),
    "next": ("next", "Propose what to print next, record it and write print cards."),
    "again": ("again", "Repeat an earlier proposal and say what differs."),
    "printed": ("acts", "Record that a cone was printed."),
    "failed": ("acts", "Record that a cone failed."),
    "aside": ("acts", "Set a cone aside: it stays in the table and counts no more."),
    "add": ("acts", "Add a cone made outside any proposal."),
    "measure": ("measure", "Store a cone's raw measurement files and compute its metrics."),
    "sweep": ("sweep", "Write a swept sine to play through a driver, as WAV."),
    "recompute": ("recompute", "Bring every metric up to a plan that changed."),
    "listen": ("listen", "Show the metrics of raw files; needs no experiment."),
    "table": ("table", "Show the table of trials."),
    "import": ("exchange", "Take an edited spreadsheet in, after a preview."),
    "export": ("exchange", "Write the table as a spreadsheet."),
    "pack": ("archive", "Write the whole experiment into one archive."),
    "unpack": ("archive", "Take an experiment out of an archive into a new folder."),
    "undo": ("history", "Take the last recorded act back; again and again, to the start."),
    "history": ("history", "Show what was recorded, newest first: all, or what touched one cone."),
    "backup": ("safekeeping", "Copy the whole experiment to one file, and read it back."),
    "restore": ("safekeeping", "Put a backup back, after a preview."),
    "rescue": ("safekeeping", "Write what can still be read of a damaged experiment anew."),
    "knobs": ("answers", "Show which variables matter, and how much."),
    "optimum": ("answers", "Show where the best setting of one variable lies."),
    "compare": ("answers", "Show whether one cone or recipe beats another."),
    "front": ("answers", "Show the front between metrics that pull apart."),
    "expect": ("expect", "Show the metrics and curves that a recipe is expected to give."),
    "deadends": ("answers", "Show which levels and regions can be given up."),
    "outlook": ("answers", "Show whether another cone is worth printing."),
    "recommend": ("recommend", "Show which recipe to put into production, and how to confirm it."),
    "drift": ("drift", "Show whether the rig moves from session to session."),
    "ageing": ("ageing", "Show how kept cones drift with light or days."),
    "report": ("report", "Write the whole experiment as one self-contained page, or as Markdown."),
    "page": ("page", "Serve the experiment as a local web page."),
}


class Root(click.Group):
    """A group whose verbs are imported when they are asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Give the verbs in the order of the work."""
        return list(VERBS)

    def get_command(
        self,
        ctx: click.Context,  # noqa: ARG002
        cmd_name: str,
    ) -> click.Command | None:
        """Load one verb; its module names the command ``VERB_command``."""
        if cmd_name not in VERBS:
            close = difflib.get_close_matches(cmd_name, VERBS, n=3)
            hint = f"did you mean {' or '.join(close)}?" if close else "see `coneloop --help`"
            raise click.ClickException(f"found verb {cmd_name!r}, which does not exist; {hint}")
        module = importlib.import_module(f"optimiser.command.{VERBS[cmd_name][0]}")
        command: click.Command = getattr(module, f"{cmd_name}_command")
        return command

    def format_commands(
        self,
        ctx: click.Context,  # noqa: ARG002
        formatter: click.HelpFormatter,
    ) -> None:
        """List the verbs without loading any."""
        with formatter.section("Verbs"):
            formatter.write_dl([(verb, line) for verb, (_, line) in VERBS.items()])

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        **extra: Any,
    ) -> Any:
        """Run a verb and leave with its exit status; no traceback reaches the user."""
        status = self._run(args, prog_name or "coneloop", complete_var, extra)
        if not standalone_mode:
            return status
        sys.exit(status)

    def _run(
        self,
        args: Sequence[str] | None,
        prog_name: str,
        complete_var: str | None,
        extra: dict[str, Any],
    ) -> int:
        """Run a verb; turn every exception into lines on stderr and a status."""
        for stream in (sys.stdout, sys.stderr):
            # A terminal that cannot show a letter gets a question mark, not a failure.
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")
        try:
            result = super().main(args, prog_name, complete_var, standalone_mode=False, **extra)
            sys.stdout.flush()
            return result if isinstance(result, int) else 0
        except ExperimentError as error:
            for problem in error.problems:
                _complain(str(problem))
            _as_records(args, error.problems)
            return 2
        except click.UsageError as error:
            _complain(error.format_message())
            _as_records(args, [error.format_message()])
            where = error.ctx.command_path if error.ctx is not None else prog_name
            click.echo(f"See `{where} --help`.", err=True)
            return 2
        except click.ClickException as error:
            _complain(error.format_message())
            _as_records(args, [error.format_message()])
            return 2
        except (click.Abort, KeyboardInterrupt):
            click.echo("\nStopped. What was recorded before stays recorded.", err=True)
            return 1
        except BrokenPipeError:  # before OSError, of which it is one
            # Somebody closed the other end, as `coneloop table | head` does.
            _silence_stdout()
            return 0
        except OSError as error:
            # A full disk, a folder without permission: nothing that a new version would mend.
            if error.strerror is None:
                return _own_fault(error)
            where = f"{error.filename}: " if error.filename else ""
            _complain(f"{where}{error.strerror}")
            return 2
        except Exception as error:
            return _own_fault(error)


def _own_fault(error: Exception) -> int:
    """Say in one line that it was our fault, and keep what helps to mend it."""
    path = write_diagnosis(error)
    kept = f"; details without personal data: {path}" if path else ""
    click.echo(f"coneloop failed by a fault of its own ({type(error).__name__}){kept}", err=True)
    return 1


def _complain(text: str) -> None:
    """Write one problem of the user's input to stderr."""
    click.echo(f"error: {text}", err=True)


def _as_records(args: Sequence[str] | None, problems: Iterable[Problem | str]) -> None:
    """Print problems as JSON on stdout too, where JSON was asked for."""
    if "--json" in (sys.argv[1:] if args is None else args):
        records = problem_records(problems)
        click.echo(json.dumps({"problems": records}, ensure_ascii=False, indent=2))


def _silence_stdout() -> None:
    """Keep the interpreter from complaining about the closed pipe when it ends."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        pass
