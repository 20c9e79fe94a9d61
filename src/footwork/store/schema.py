"""Tables. `library` holds what cannot be rebuilt, `derived` what can; the second has no migrations."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

LIBRARY_VERSION = 3  # equals the number of the newest migration; stored as user_version
DERIVED_VERSION = 4  # any other number there: the derived folder is deleted and rebuilt

library = MetaData()
derived = MetaData(schema="derived")

file = Table(
    "file",
    library,
    Column("id", Integer, primary_key=True),
    Column("sha256", String(64), nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("size", Integer, nullable=False),
    Column("added_at", Float, nullable=False),
    Column("start_given", Float),  # what the user said with --start, where the file has no date
    Column("replaced_by", Integer),  # the file whose better copy took its place
)
run = Table("run", library, Column("id", Integer, primary_key=True))
recording = Table(
    "recording",
    library,
    Column("id", Integer, primary_key=True),
    Column("file_id", ForeignKey("file.id"), nullable=False),
    Column("leg", Integer, nullable=False),
    Column("run_id", ForeignKey("run.id")),  # null for other sports
    Column("sport", Text, nullable=False),
    Column("start", Float, nullable=False),
    Column("end", Float, nullable=False),
    Column("utc_offset_minutes", Integer),
    Column("serial", Text, nullable=False, default=""),
    UniqueConstraint("file_id", "leg"),
    Index("recording_time", "start", "end"),
    Index("recording_run", "run_id"),
)
athlete_fact = Table(
    "athlete_fact",
    library,
    Column("id", Integer, primary_key=True),
    Column("name", Text, nullable=False),
    Column("date", Text, nullable=False),
    Column("value", Float, nullable=False),
    UniqueConstraint("name", "date"),
)
entry = Table(
    "entry",
    library,
    Column("id", Integer, primary_key=True),
    Column("kind", Text, nullable=False),  # the kinds are those of `history.log.entries`
    Column("run_id", ForeignKey("run.id")),
    Column("date", Text),
    Column("payload", Text, nullable=False),  # JSON
    Column("entered_at", Float, nullable=False),
    Column("undone_at", Float),
    Index("entry_kind", "kind"),
)
scale = Table(
    "scale",
    library,
    Column("id", Integer, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False, unique=True),
)
accepted = Table(
    "accepted",
    library,
    Column("id", Integer, primary_key=True),
    Column("scale_key", Text, nullable=False),
    Column("date", Text, nullable=False),
    Column("critical_power", Float, nullable=False),
    UniqueConstraint("scale_key", "date"),
)
setting = Table("setting", library, Column("name", Text, primary_key=True), Column("value", Text, nullable=False))

result = Table(
    "result",
    derived,
    Column("recording_id", Integer, primary_key=True),
    Column("part", Integer, primary_key=True),  # 0 unless a split made several parts of one recording
    Column("run_id", Integer),
    Column("start", Float, nullable=False),
    Column("end", Float, nullable=False),
    Column("layout", Text, nullable=False),  # the corrections it was made with; empty for none
    Column("versions", Text, nullable=False),
    Column("mass", Float),
    Column("latitude", Float),
    Column("longitude", Float),
    Column("duration_s", Float),
    Column("elapsed_s", Float),
    Column("distance_m", Float),
    Column("climb_m", Float),
    Column("heart_rate_bpm", Float),
    Column("heart_rate_sound_s", Float),
    Column("cadence_spm", Float),
    Column("temperature_c", Float),
    Column("altitude_m", Float),
    Column("work_j", Float),
    Column("indoor", Boolean),
    Column("changes", Text, nullable=False),
    Column("lost", Text, nullable=False),
    Column("notes", Text, nullable=False),
    Column("laps", Text, nullable=False),
    Column("legs_before", Text, nullable=False),
    Index("result_run", "run_id"),
)
stream = Table(
    "stream",
    derived,
    Column("recording_id", Integer, primary_key=True),
    Column("part", Integer, primary_key=True),
    Column("column", Text, primary_key=True),
    Column("scale_key", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("measured", Boolean, nullable=False),
    Column("mean_power", Float),
    Column("best", LargeBinary, nullable=False),
    Column("start", LargeBinary, nullable=False),
    Column("histogram", LargeBinary, nullable=False),
    Column("blocks", LargeBinary, nullable=False),
)
