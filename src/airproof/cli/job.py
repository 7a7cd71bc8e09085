"""`airproof job`: the jobs that are kept, from intake to verdict."""

from __future__ import annotations

from collections.abc import Callable

import typer

from airproof.cli import job_kept, job_told, job_worked

HELP = """Keep jobs: one car, one complaint, everything said of it, and its recordings.

\b
  airproof job new --plate "AB C 123" --complaint "lamp on, hesitates" --engine engine.toml
  airproof job add 1 --code P0106 --symptom hesitation --altitude 350m --recording drive.csv
  airproof job weigh 1
  airproof job plan 1
  airproof job add 1 --step look-hoses=no --minutes 5
  airproof job prove 1 again.csv --step replace-map-sensor
  airproof job show 1 --history
  airproof job list P0106 --open

Nothing is lost by correcting it: each fact has a number, --correct and --withdraw name it.
Jobs lie in your data folder; --data or AIRPROOF_DATA names another one, AIRPROOF_STORE a PostgreSQL
database. All but delete take --json.
"""

COMMANDS: tuple[tuple[str, Callable[..., None]], ...] = (
    ("new", job_told.new),
    ("add", job_told.add),
    ("list", job_kept.list_jobs),
    ("show", job_kept.show),
    ("weigh", job_worked.weigh),
    ("plan", job_worked.plan),
    ("write-up", job_worked.write_up),
    ("teach", job_worked.teach),
    ("prove", job_worked.prove),
    ("reopen", job_worked.reopen),
    ("learn", job_worked.learn),
    ("export", job_kept.export),
    ("import", job_kept.import_),
    ("delete", job_kept.delete),
)

app = typer.Typer(name="job", help=HELP, no_args_is_help=False, rich_markup_mode=None, add_completion=False)
for _name, _function in COMMANDS:
    app.command(_name)(_function)


@app.callback(invoke_without_command=True)
def _job(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())
