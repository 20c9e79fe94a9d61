"""What the runner says about runs and days as entries that can each be undone; marks become such entries."""

from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.execute(
        """CREATE TABLE entry (id INTEGER PRIMARY KEY AUTOINCREMENT, kind TEXT NOT NULL, run_id INTEGER
           REFERENCES run (id), date TEXT, payload TEXT NOT NULL, entered_at FLOAT NOT NULL, undone_at FLOAT)"""
    )
    op.execute("ALTER TABLE file ADD COLUMN replaced_by INTEGER")
    op.execute("CREATE INDEX entry_kind ON entry (kind)")
    op.execute(
        """INSERT INTO entry (kind, run_id, payload, entered_at)
           SELECT DISTINCT 'mark', r.run_id, '{"name": "' || m.name || '"}', 0 FROM mark m
           JOIN recording r ON r.id = m.recording_id WHERE r.run_id IS NOT NULL ORDER BY m.id"""
    )
    op.execute("DROP TABLE mark")
