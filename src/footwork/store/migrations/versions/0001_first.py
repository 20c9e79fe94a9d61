"""The first library."""

from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    for statement in (
        """CREATE TABLE file (id INTEGER PRIMARY KEY, sha256 VARCHAR(64) NOT NULL UNIQUE, name TEXT NOT NULL,
           size INTEGER NOT NULL, added_at FLOAT NOT NULL, start_given FLOAT)""",
        "CREATE TABLE run (id INTEGER PRIMARY KEY)",
        """CREATE TABLE recording (id INTEGER PRIMARY KEY, file_id INTEGER NOT NULL REFERENCES file (id),
           leg INTEGER NOT NULL, run_id INTEGER REFERENCES run (id), sport TEXT NOT NULL, start FLOAT NOT NULL,
           "end" FLOAT NOT NULL, utc_offset_minutes INTEGER, serial TEXT NOT NULL, UNIQUE (file_id, leg))""",
        'CREATE INDEX recording_time ON recording (start, "end")',
        "CREATE INDEX recording_run ON recording (run_id)",
        """CREATE TABLE athlete_fact (id INTEGER PRIMARY KEY, name TEXT NOT NULL, date TEXT NOT NULL,
           value FLOAT NOT NULL, UNIQUE (name, date))""",
        """CREATE TABLE mark (id INTEGER PRIMARY KEY, recording_id INTEGER NOT NULL REFERENCES recording (id),
           name TEXT NOT NULL, UNIQUE (recording_id, name))""",
        "CREATE TABLE scale (id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, name TEXT NOT NULL UNIQUE)",
        "CREATE TABLE setting (name TEXT PRIMARY KEY, value TEXT NOT NULL)",
    ):
        op.execute(statement)
