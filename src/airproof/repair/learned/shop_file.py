"""One file per shop: what its closed jobs count, to be added to, taken back from, merged and passed on.

Each job stands there by its fingerprint, the hash of its number with a secret of the shop, and the month it was closed:
so it is never counted twice, can be taken back to the last digit, and its number cannot be read from what is passed on,
which goes without the secret. Totals are formed when they are needed; the judged numbers are in none of it, so that
merging counts them once.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from airproof.errors import UnusableFile, UnusableRequest
from airproof.repair.learned.closed_job import ClosedJob
from airproof.repair.learned.counts import JobCounts
from airproof.toml_files import checked, text_of

SCHEMA: Literal["airproof.learned/1"] = "airproof.learned/1"
WANTED = f"what a shop has learned, {SCHEMA}"
WAY_OUT = 'Only "airproof learn" writes such a file. It is left as it is; give another one, or put a copy back.'
SECRET_BYTES = 16
FINGERPRINT = 32  # hexadecimal digits
BEGINNING = 12  # of them tell jobs apart: among a million, the chance that any two begin alike is 1 in 560
NAMED = 5

Fingerprint = Annotated[str, Field(pattern=r"^[0-9a-f]{32}$")]


class Shop(BaseModel):
    """A shop's closed jobs by fingerprint; `half_life_months`: after that time an old price counts half."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_by_name=True, validate_by_alias=True)

    version: Annotated[Literal["airproof.learned/1"], Field(alias="schema")] = SCHEMA
    secret: Annotated[str, Field(pattern=r"^[0-9a-f]{32}$")] | None = None
    half_life_months: Annotated[float, Field(gt=0.0, le=1200.0, allow_inf_nan=False)] | None = None
    jobs: dict[Fingerprint, JobCounts] = {}

    def fingerprint(self, number: str) -> str:
        """Under what a job's number stands here."""
        return hashlib.sha256(f"{self.secret or ''}:{number}".encode()).hexdigest()[:FINGERPRINT]

    def with_job(self, job: ClosedJob, counts: JobCounts) -> Shop:
        """One more job; the same again changes nothing.

        Raises UnusableRequest where another job stands under that number.
        """
        key = self.fingerprint(job.id)
        there = self.jobs.get(key)
        if there is not None and there != counts:
            raise UnusableRequest(
                f"job {job.id!r} was counted before, and said something else",
                "each job once",
                f"Take it back first with --undo {job.id}, or give this one a number of its own.",
            )
        return self if there is not None else self.with_jobs({**self.jobs, key: counts})

    def without(self, number: str) -> Shop:
        """As if that job had never been; by its number, or by how its fingerprint begins.

        Raises UnusableRequest where it is not there.
        """
        key = self.fingerprint(number)
        if key not in self.jobs:
            found = [one for one in self.jobs if len(number) >= BEGINNING and one.startswith(number)]
            if len(found) != 1:
                raise UnusableRequest(
                    f"no job {number!r} in it",
                    "the id of a job that was counted: of a file as it stands there, of a kept job as "
                    '"airproof job learn" says it',
                    f"Ids are not kept here, only marks, which --undo takes as well: {self._marks()}.",
                )
            key = found[0]
        return self.with_jobs({k: job for k, job in self.jobs.items() if k != key})

    def _marks(self) -> str:
        """How the fingerprints of the jobs begin that were closed last, with their months."""
        last = sorted(self.jobs.items(), key=lambda item: item[1].months, reverse=True)
        told = [f"{key[:BEGINNING]} ({job.month})" for key, job in last[:NAMED]]
        more = [f"and {len(last) - NAMED} more"] if len(last) > NAMED else []
        return ", ".join([*told, *more]) or "none yet"

    def merged(self, other: Shop) -> Shop:
        """With the jobs of another shop; those in both count once.

        Raises UnusableRequest where one job stands in both and says two things.
        """
        differing = [key for key, job in other.jobs.items() if self.jobs.get(key, job) != job]
        if differing:
            raise UnusableRequest(
                f"{len(differing)} of the jobs in both say something else in each",
                "files that agree on what they share",
                "Take the job back in one of them; --undo does.",
            )
        return self.with_jobs({**self.jobs, **other.jobs})

    def with_jobs(self, jobs: Mapping[str, JobCounts]) -> Shop:
        """The same shop with these jobs, in the order of their fingerprints."""
        return self.model_copy(update={"jobs": dict(sorted(jobs.items()))})

    def to_pass_on(self) -> Shop:
        """Without the secret and without settings: what another shop may have."""
        return Shop(jobs=self.jobs)


def new_shop() -> Shop:
    """A shop that has learned nothing yet."""
    return Shop(secret=secrets.token_hex(SECRET_BYTES))


def with_secret(shop: Shop) -> Shop:
    """The same shop, able to take jobs of its own: what was passed on comes without a secret."""
    return shop if shop.secret else shop.model_copy(update={"secret": secrets.token_hex(SECRET_BYTES)})


def read_shop(path: Path) -> Shop:
    """What a shop's file holds.

    Raises UnusableFile: no such file, broken, or written by a newer version.
    """
    where = str(path)
    text = text_of(path, wanted=WANTED)
    try:
        table = json.loads(text)
    except (json.JSONDecodeError, RecursionError) as fault:
        raise UnusableFile(f"is not JSON ({fault})", WANTED, WAY_OUT, where=where) from fault
    said = table.get("schema") if isinstance(table, dict) else None
    if isinstance(said, str) and said != SCHEMA and said.startswith("airproof.learned/"):
        raise UnusableFile(
            f"is of {said}", SCHEMA, "A newer Airproof wrote it: use that one. It is left as it is.", where=where
        )
    return checked(table, Shop, wanted=WANTED, way_out=WAY_OUT, where=where)


def write_shop(shop: Shop, path: Path) -> None:
    """Write the file as a whole or not at all: beside it first, then in its place.

    Raises UnusableFile where it cannot be written.
    """
    path = path.resolve()
    table = shop.model_dump(mode="json", by_alias=True, exclude_none=True)
    # exclude_none would also drop what means "nobody looked" were it not the default of those keys.
    text = json.dumps(table, indent=1, sort_keys=True, allow_nan=False) + "\n"
    beside = ""
    try:
        handle, beside = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".new", dir=path.parent)
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            Path(beside).chmod(path.stat().st_mode & 0o777)
        Path(beside).replace(path)
    except OSError as fault:
        if beside:
            Path(beside).unlink(missing_ok=True)
        raise UnusableFile(
            f"cannot be written ({fault.strerror or fault})", "a place to write to", "Choose another.", where=str(path)
        ) from fault
