"""Form 2: the words of a job for the free search, beside the lists. They are drawn from the events on opening."""

import sqlalchemy as sa
from alembic import op

revision = "2"
down_revision = "1"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table; what it holds is written by `store.draw_anew`."""
    op.create_table(
        "job_words",
        sa.Column("job", sa.Integer, nullable=False),
        sa.Column("words", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("job", name="pk_job_words"),
        sa.ForeignKeyConstraint(["job"], ["jobs.number"], name="fk_job_words_job", ondelete="CASCADE"),
    )
