"""`airproof job list`, `show`, `export`, `import` and `delete`: the jobs that are kept."""

from __future__ import annotations

from typing import Annotated

import typer

from airproof.cli.job_options import (
    Data,
    Job,
    Json,
    Many,
    Owner,
    Plate,
    Vin,
    where_of,
)


def list_jobs(
    words: Annotated[
        list[str] | None,
        typer.Argument(metavar="[WORDS]", help="Words that stand anywhere in the job.", show_default=False),
    ] = None,
    plate: Plate = None,
    vin: Vin = None,
    owner: Owner = None,
    code: Annotated[Many, typer.Option("--code", metavar="P0106", help="A code that it has.")] = None,
    cause: Annotated[Many, typer.Option("--cause", metavar="CAUSE", help="What it was, or most probably is.")] = None,
    open_: Annotated[bool, typer.Option("--open", help="Only jobs that are not closed.")] = False,
    closed: Annotated[bool, typer.Option("--closed", help="Only jobs that are closed.")] = False,
    all_: Annotated[bool, typer.Option("--all", help="All of them, not only the last 50.")] = False,
    data: Data = None,
    json: Json = False,
) -> None:
    """List jobs, the one changed last first, and search in them.

    \b
      airproof job list
      airproof job list meier hesitates --open
      airproof job list --plate c123 --code P0106
    """
    from airproof.cli.job_request import tell_list

    searched = {"plate": plate, "vin": vin, "owner": owner, "code": code, "cause": cause}
    tell_list(where_of(data, None, json=json), words or [], searched, only_open=open_, only_closed=closed, all_=all_)


def show(
    job: Job,
    history: Annotated[bool, typer.Option("--history", help="All that was said, when and by whom.")] = False,
    data: Data = None,
    json: Json = False,
) -> None:
    """Show a job: what stands, each fact with its number.

    \b
      airproof job show 1
      airproof job show 1 --history
    """
    from airproof.cli.job_request import tell_job

    tell_job(where_of(data, None, json=json), job, history=history)


def export(
    job: Job,
    out: Annotated[Many, typer.Option("--out", metavar="FILE.zip", help="The file to write.")] = None,
    without_private: Annotated[
        bool, typer.Option("--without-private", help="Leave out VIN, plate and owner, and the original recordings.")
    ] = False,
    data: Data = None,
    json: Json = False,
) -> None:
    """Write a whole job, with its recordings, to one file.

    \b
      airproof job export 1 --out job-1.zip
      airproof job export 1 --out to-show.zip --without-private
    """
    from airproof.cli.job_request import export_and_tell

    export_and_tell(where_of(data, None, json=json), job, out, private=not without_private)


def import_(
    file: Annotated[str, typer.Argument(metavar="FILE.zip", help="A job file.", show_default=False)],
    as_new: Annotated[bool, typer.Option("--as-new", help="Another job, even if this one is here.")] = False,
    data: Data = None,
    json: Json = False,
) -> None:
    """Take a job in from a file; one that is here already is continued.

    \b
      airproof job import job-1.zip
    """
    from airproof.cli.job_request import import_and_tell

    import_and_tell(where_of(data, None, json=json), file, as_new=as_new)


def delete(
    job: Job,
    export_to: Annotated[
        Many, typer.Option("--export", metavar="FILE.zip", help="Where the job is written before.")
    ] = None,
    data: Data = None,
) -> None:
    """Delete a job for good: it is exported first, and asked twice.

    \b
      airproof job delete 1 --export job-1.zip
    """
    from airproof.cli.job_request import delete_and_tell

    delete_and_tell(where_of(data, None, json=False), job, export_to)
