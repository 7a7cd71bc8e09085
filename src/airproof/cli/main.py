"""The command `airproof`: its subcommands, and how every ending is told.

Exit status: 0 done; 2 the command line or a file is unusable, one line says which, where and the way out;
1 a fault of our own. What a subcommand needs is imported when it runs, so that help appears at once.
"""

from __future__ import annotations

import errno
import gc
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from typing import Annotated, Any, NoReturn

import typer

from airproof import __version__
from airproof.cli import explain, job, learn, link, meter, plan, prove, rehearse, serve, weigh
from airproof.cli.streams import complain, make_streams_safe
from airproof.cli.typed import as_typed
from airproof.cli.usage import UsageError, in_our_words
from airproof.errors import AirproofError

OWN_FAULT, UNUSABLE, INTERRUPTED = 1, 2, 130

OBJECTS_BETWEEN = (50_000, 20, 20)
"""New objects before the collector of garbage looks for rings among them: by default it does some hundred times while
all modules are loaded, in vain, for a tenth of the time a short command takes."""

COMMANDS: tuple[tuple[str, Callable[..., None]], ...] = (
    ("weigh", weigh.weigh),
    ("plan", plan.plan),
    ("prove", prove.prove),
    ("meter", meter.meter),
    ("learn", learn.learn),
    ("explain", explain.explain),
    ("rehearse", rehearse.rehearse),
    ("serve", serve.serve),
)

_HELP = """Is the manifold pressure sensor a truthful witness? And if it is, what is wrong with the engine?

\b
From stored codes, recordings and readings of a car, Airproof weighs every plausible
cause: how probable, how large, on what evidence, and what to do next.

\b
  airproof weigh drive.csv --engine engine.toml
  airproof weigh drive.csv --engine engine.toml --code P0106 --symptom rough-idle --altitude 350m
  airproof plan verdict.json
  airproof prove --engine engine.toml --before drive.csv --after again.csv --step mend-vacuum-leak
  airproof meter worksheet --sensor absolute-250-kpa --altitude 350m
  airproof learn closed_job.toml --shop shop.json
  airproof explain P0106
  airproof rehearse --engine engine.toml --cause vacuum-leak=4mm --compare
  airproof link codes --adapter socketcan:can0 --out car.toml
  airproof job new --plate "AB C 123" --complaint "lamp on, hesitates"
  airproof serve --show

"airproof weigh --help" shows how to describe the engine and what to record.
"""

GROUPS: tuple[tuple[str, typer.Typer], ...] = (("job", job.app), ("link", link.app))


def command_line(arguments: Sequence[str] = ()) -> typer.Typer:
    """The command line: all of it, or, as each command takes its time to be built, only the one that is asked for."""
    asked = arguments[0] if arguments else ""
    known = asked in {name for name, _ in (*COMMANDS, *GROUPS)}
    app = typer.Typer(
        name="airproof",
        help=_HELP,
        rich_markup_mode=None,
        add_completion=False,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 100},
    )
    app.callback(invoke_without_command=True)(_airproof)
    for name, function in COMMANDS:
        if not known or name == asked:
            app.command(name, help=function.__doc__)(function)
    for name, group in GROUPS:
        if not known or name == asked:
            app.add_typer(group, name=name)
    return app


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"airproof {__version__}")
        raise typer.Exit


def _airproof(
    context: typer.Context,
    version: Annotated[  # noqa: ARG001 # its callback does the work
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and end."),
    ] = False,
) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


def run(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and end the process with its exit status."""
    # To be said before NumPy is loaded: our matrices are small, and threads wait for each other longer than they work.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.set_threshold(*OBJECTS_BETWEEN)
    raise SystemExit(status_of(sys.argv[1:] if arguments is None else list(arguments)))


def status_of(arguments: list[str]) -> int:
    """Run the command line; whatever happens is told on stderr, and the exit status returned."""
    make_streams_safe()
    arguments = list(map(as_typed, arguments))
    try:
        status: Any = typer.main.get_command(command_line(arguments)).main(
            arguments, prog_name="airproof", standalone_mode=False
        )
        if status == INTERRUPTED:
            raise KeyboardInterrupt
        if sys.stdout is not None:
            sys.stdout.flush()
        return status if isinstance(status, int) else 0
    except UsageError as fault:
        complain(str(in_our_words(fault, arguments)))
        return UNUSABLE
    except AirproofError as fault:
        complain(str(fault))
        if fault.exit_status == OWN_FAULT:
            complain(_please_send(arguments))
        return fault.exit_status
    except (KeyboardInterrupt, typer.Abort):
        complain("stopped; nothing was left half-written")
        return INTERRUPTED
    except (BrokenPipeError, SystemExit):
        # Typer and Rich end the process themselves only where whoever read our output has gone.
        _close_quietly()
        return 0
    except OSError as fault:
        if fault.errno == errno.ENAMETOOLONG:
            complain(f"{str(fault.filename)[:40]}...: this name is too long for a file; wanted: a path. Check it.")
            return UNUSABLE
        # A full disk or a closed stream under our output is not ours to mend, nor a fault of ours.
        if fault.errno not in (errno.ENOSPC, errno.EBADF, errno.EIO, errno.EDQUOT):
            return _own_fault(fault, arguments)
        complain(f"the output cannot be written ({fault.strerror}); wanted: a place with room for it. Nothing is kept.")
        _close_quietly()
        return UNUSABLE
    except Exception as fault:  # every other error is a fault of ours, and must be told as one
        return _own_fault(fault, arguments)


def _own_fault(fault: Exception, arguments: Sequence[str]) -> int:
    complain(f"a fault of our own: {type(fault).__name__}: {' '.join(str(fault).split())}")
    complain(_please_send(arguments))
    complain(traceback.format_exc().rstrip())
    return OWN_FAULT


def _please_send(arguments: Sequence[str]) -> str:
    return (
        f"please report it: send all these lines, the command (airproof {' '.join(arguments)}), the version "
        f"({__version__}, Python {sys.version.split()[0]}, {sys.platform}) and, if you may, the file"
    )


def _close_quietly() -> None:
    """Whoever read our output has gone (as `| head` does): nothing more can be said to them."""
    sink = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(sink, sys.stdout.fileno())
    except (OSError, ValueError):
        sys.stdout = None  # not a real file, as under a test: nothing to flush at exit
    finally:
        os.close(sink)
