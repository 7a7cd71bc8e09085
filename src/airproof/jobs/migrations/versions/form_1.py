"""Form 1: jobs, their events, and which recordings they speak of."""

import sqlalchemy as sa
from alembic import op

revision = "1"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "jobs",
        sa.Column("number", sa.Integer, autoincrement=True, nullable=False),
        sa.Column("uid", sa.String(32), nullable=False),
        sa.Column("opened_at", sa.String(27), nullable=False),
        sa.Column("changed_at", sa.String(27), nullable=False),
        sa.Column("last_event", sa.Integer, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("car", "plate", "owner", "complaint", "cause")),
        sa.Column("closed", sa.String(16), nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("plate_key", "vin_key", "codes")),
        sa.PrimaryKeyConstraint("number", name="pk_jobs"),
        sa.UniqueConstraint("uid", name="uq_jobs_uid"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_jobs_changed_at_number", "jobs", ["changed_at", "number"])
    op.create_table(
        "events",
        sa.Column("job", sa.Integer, nullable=False),
        sa.Column("number", sa.Integer, autoincrement=False, nullable=False),
        sa.Column("uid", sa.String(32), nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.Column("author", sa.Text, nullable=False),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("payload", sa.Text, nullable=False),
        sa.Column("corrects", sa.Integer, nullable=True),
        sa.Column("withdraws", sa.Integer, nullable=True),
        sa.PrimaryKeyConstraint("job", "number", name="pk_events"),
        sa.ForeignKeyConstraint(["job"], ["jobs.number"], name="fk_events_job", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["job", "corrects"], ["events.job", "events.number"], name="fk_events_job_corrects"),
        sa.ForeignKeyConstraint(["job", "withdraws"], ["events.job", "events.number"], name="fk_events_job_withdraws"),
    )
    op.create_table(
        "recording_uses",
        sa.Column("job", sa.Integer, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("bytes", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("job", "sha256", name="pk_recording_uses"),
        sa.ForeignKeyConstraint(["job"], ["jobs.number"], name="fk_recording_uses_job", ondelete="CASCADE"),
    )
    op.create_index("ix_recording_uses_sha256", "recording_uses", ["sha256"])
