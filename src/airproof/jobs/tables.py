"""The tables of the store. What stands in `jobs` beside its events is drawn from them, for lists and searches."""

from __future__ import annotations

from sqlalchemy import BigInteger, ForeignKey, ForeignKeyConstraint, Index, MetaData, String, Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    """All tables."""

    metadata = MetaData(naming_convention=NAMES)


class JobRow(Base):
    """One job; `last_event` is the number of its last event, by which two writers know of each other."""

    __tablename__ = "jobs"
    __table_args__ = (
        Index("ix_jobs_changed_at_number", "changed_at", "number"),
        {"sqlite_autoincrement": True},  # the number of a deleted job is not given to another
    )

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    uid: Mapped[str] = mapped_column(String(32), unique=True)
    opened_at: Mapped[str] = mapped_column(String(27))
    changed_at: Mapped[str] = mapped_column(String(27))
    last_event: Mapped[int]
    # For lists: what a line shows.
    car: Mapped[str] = mapped_column(Text, default="")
    plate: Mapped[str] = mapped_column(Text, default="")
    owner: Mapped[str] = mapped_column(Text, default="")
    complaint: Mapped[str] = mapped_column(Text, default="")
    cause: Mapped[str] = mapped_column(Text, default="")
    closed: Mapped[str] = mapped_column(String(16), default="")
    # For searches: small letters without accents, numbers without blanks, codes between blanks.
    plate_key: Mapped[str] = mapped_column(Text, default="")
    vin_key: Mapped[str] = mapped_column(Text, default="")
    codes: Mapped[str] = mapped_column(Text, default="")


class WordsRow(Base):
    """All words of a job for the free search, beside `jobs` so that a list does not read them."""

    __tablename__ = "job_words"

    job: Mapped[int] = mapped_column(ForeignKey("jobs.number", ondelete="CASCADE"), primary_key=True)
    words: Mapped[str] = mapped_column(Text, default="")


class EventRow(Base):
    """One event of a job. Rows are added and never changed; they go with their job only."""

    __tablename__ = "events"
    __table_args__ = (
        ForeignKeyConstraint(["job", "corrects"], ["events.job", "events.number"]),
        ForeignKeyConstraint(["job", "withdraws"], ["events.job", "events.number"]),
    )

    job: Mapped[int] = mapped_column(ForeignKey("jobs.number", ondelete="CASCADE"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    uid: Mapped[str] = mapped_column(String(32))
    at: Mapped[str] = mapped_column(String(27))
    author: Mapped[str] = mapped_column(Text)
    kind: Mapped[str] = mapped_column(String(40))
    version: Mapped[int]
    payload: Mapped[str] = mapped_column(Text)
    corrects: Mapped[int | None]
    withdraws: Mapped[int | None]


class RecordingUse(Base):
    """Which job speaks of which recording, taken back or not: a file is kept as long as any does."""

    __tablename__ = "recording_uses"
    __table_args__ = (Index("ix_recording_uses_sha256", "sha256"),)

    job: Mapped[int] = mapped_column(ForeignKey("jobs.number", ondelete="CASCADE"), primary_key=True)
    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    bytes: Mapped[int] = mapped_column(BigInteger)
