"""The program: its commands, and the one place where errors become messages and exit codes.

Only light modules are imported here; every command imports what it needs when it runs.
"""

from __future__ import annotations

import gc
import os
import sys
import traceback
from collections.abc import Sequence
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from fulfil import errors
from fulfil.commands import (
    ahead,
    data,
    demo,
    planning,
    production,
    promising,
    purchasing,
    sales,
    shipping,
    structure,
)
from fulfil.commands.options import Globals

TRACEBACK = "--traceback"


class Program(TyperGroup):
    """The group of all commands, which turns every error into a message and an exit code."""

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        windows_expand_args: bool = True,
        **extra: Any,
    ) -> Any:
        # an answer is over before it pays: passes over a data set would take a tenth of its time
        gc.disable()
        words = list(sys.argv[1:] if args is None else args)
        shown = TRACEBACK in words or os.environ.get("FULFIL_TRACEBACK") == "1"
        try:
            code = super().main(
                [word for word in words if word != TRACEBACK],
                prog_name="fulfil",
                complete_var=complete_var,
                standalone_mode=False,
                windows_expand_args=windows_expand_args,
                **extra,
            )
            if code == errors.INTERRUPTED:
                typer.echo("\ninterrupted", err=True)
        except errors.Failed as error:
            code = error.exit_code
        except typer.TyperException as error:
            code = errors.USAGE
            typer.echo(errors.message(*_usage(error)), err=True, nl=False)
        except Exception as error:  # noqa: BLE001 - no traceback may reach a user unasked
            if shown:
                typer.echo("".join(traceback.format_exception(error)), err=True)
            code, text = errors.explain(error)
            typer.echo(text, err=True, nl=False)
        sys.exit(code if isinstance(code, int) else errors.DONE)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """The command that is meant; refuses an option that is given twice and takes one value."""
        found = super().resolve_command(ctx, args)
        name, command, rest = found
        if command is not None:
            twice = _given_twice(command.params, rest)
            if twice is not None:
                here = typer.Context(command, parent=ctx, info_name=name)
                raise typer.BadParameter(f"{twice} is given twice, and takes one value", ctx=here)
        return found


def _given_twice(params: Sequence[Any], words: Sequence[str]) -> str | None:
    """An option of which the last value would be taken, and the others go unheard."""
    single = {
        name
        for param in params
        if param.param_type_name == "option" and not (param.multiple or param.is_flag)
        for name in param.opts
    }
    seen: set[str] = set()
    rest = iter(words)
    for word in rest:
        name, separator, _ = word.partition("=")
        if word == "--":
            break
        if name in seen:
            return name
        if name in single:
            seen.add(name)
            if not separator:
                next(rest, None)  # its value
    return None


def _usage(error: typer.TyperException) -> tuple[str, str]:
    context = getattr(error, "ctx", None)
    path = "fulfil" if context is None else context.command_path
    text = error.format_message().rstrip(".")
    return text[:1].lower() + text[1:], f"`{path} -h` shows how it is used"


app = typer.Typer(
    cls=Program,
    name="fulfil",
    help="Ship dates, lead times and blockers for configured-to-order builds, from one plan.",
    epilog="Every command has -h. The exit code is 0 when done (late builds are no error), 1 when "
    "the data or the request is wrong, 2 for wrong usage, 3 when there is no plan within the "
    "limits, 130 when interrupted.",
    rich_markup_mode=None,
    add_completion=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)


def _version(asked: bool) -> None:
    if asked:
        from importlib.metadata import PackageNotFoundError, version

        try:
            typer.echo(f"fulfil {version('fulfil')}")
        except PackageNotFoundError:
            typer.echo("fulfil, run from its source without being installed")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def root(
    context: typer.Context,
    db: Annotated[
        str | None,
        typer.Option(
            "--db",
            metavar="URL",
            help="Database: a file, or a database URL; else what FULFIL_DB says, else fulfil.db "
            "in the current folder.",
        ),
    ] = None,
    shown: Annotated[
        bool,
        typer.Option(
            TRACEBACK, help="Show where an error arose, for a report (or FULFIL_TRACEBACK=1)."
        ),
    ] = False,
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Print the version."),
    ] = False,
) -> None:
    context.obj = Globals(database=db)
    if context.invoked_subcommand is None:
        typer.echo(context.get_help(), err=True)
        raise typer.Exit(errors.USAGE)


for module in (
    demo,
    data,
    planning,
    sales,
    promising,
    production,
    purchasing,
    ahead,
    shipping,
    structure,
):
    module.register(app)


def _own_output() -> None:
    """Keep what solvers print, whatever they are told, out of the answer.

    From here on only this program writes to where the standard output went; the place that
    libraries write to, in this process and in those it starts, is nowhere.
    """
    try:
        answers = os.dup(sys.stdout.fileno())
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), sys.stdout.fileno())
    except (OSError, AttributeError):  # there is no such stream to write to
        return
    stream = open(answers, "w", encoding=sys.stdout.encoding)  # noqa: SIM115 - open to the end
    sys.stdout = stream
    vars(sys)["__stdout__"] = stream  # whose width is that of the terminal


def main() -> None:
    """Entry point of the program `fulfil`."""
    _own_output()
    for stream in (sys.stdout, sys.stderr):
        # a console that lacks a character shows another instead of failing
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        typer.main.get_command(app).main()
    finally:
        # with the process all is gone: to look for what hangs together would only take time
        gc.freeze()


if __name__ == "__main__":
    main()
