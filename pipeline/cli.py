"""The one console script. It only parses, calls a stage and prints.

The commands live in ``pipeline/commands/``, one module an area, each with a
function ``register(app)``. Nothing heavy is imported before a command runs.
"""

from __future__ import annotations

import os
import sys
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from seamtell.features.errors import SeamtellError
from seamtell.pipeline import console
from seamtell.pipeline.commands import COMMAND_AREAS

__all__ = ["app", "main"]


class _ReaderGone(Exception):
    """Whoever read the output has had enough (`| head`)."""


class _Commands(TyperGroup):
    """All commands; the output is flushed while a failure of it can still be told."""

    def invoke(self, ctx: Any) -> Any:
        """Run a command.

        The library below would end the process with 1, a fault of seamtell, when the
        reader is gone, and without a word when the user stops it.
        """
        try:
            try:
                return super().invoke(ctx)
            finally:
                sys.stdout.flush()
        except BrokenPipeError:
            raise _ReaderGone from None
        except KeyboardInterrupt:
            console.error("stopped by the user; what was finished is kept, run the same command again")
            raise typer.Exit(130) from None


app = typer.Typer(
    cls=_Commands,
    name="seamtell",
    help="Name the flaw behind each indication of a welded seam. An aid to a qualified person: "
    "the limit rule stays in charge and nothing here releases a weld.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
for _area in COMMAND_AREAS:
    _area.register(app)


def _print_version(wanted: bool) -> None:
    if wanted:
        from seamtell.pipeline.version import software_version

        console.say(f"seamtell {software_version()}")
        raise typer.Exit


@app.callback()
def _global_options(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Take the options that come before any command."""


def main() -> None:
    """Run the console script and turn what a user can cause into one line and an exit code."""
    # The work goes in threads and processes of its own. Matrices here are small: in several threads
    # they take longer, and many times as long where other work wants the same cores.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Without a standard output (`>&-`) there is nothing to print to, and still a job to do.
    sys.stdout = sys.stdout or open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
    try:
        app()
    except SeamtellError as problem:
        console.error(str(problem))
        sys.exit(getattr(problem, "exit_code", console.ExitCode.BAD_INPUT))
    except _ReaderGone:
        # Not an error; keep the interpreter from flushing again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(console.ExitCode.DONE)
    except OSError as problem:
        from seamtell.pipeline.files.atomic import storage_problem

        console.error(str(storage_problem(str(problem.filename or ""), problem)))
        sys.exit(console.ExitCode.STORAGE)
