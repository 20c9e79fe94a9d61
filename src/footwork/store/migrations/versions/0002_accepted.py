"""Accepted critical powers: what the runner or coach decided, from a date on, per scale."""

from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.execute(
        """CREATE TABLE accepted (id INTEGER PRIMARY KEY, scale_key TEXT NOT NULL, date TEXT NOT NULL,
           critical_power FLOAT NOT NULL, UNIQUE (scale_key, date))"""
    )
