from __future__ import annotations

from footwork.questions.sessions.asked_and_run import against, match_session
from footwork.questions.sessions.planned_sessions import (
    allowed,
    change_session,
    copy_session,
    from_file,
    from_workout,
    is_hard,
    kept_session,
    listed_sessions,
    minimum,
    plan_session,
    repeat_session,
    restless,
    session_asked,
    session_basis,
    session_workout,
    solve_session,
    worded,
    workout_of,
    yaml_of,
)
from footwork.questions.sessions.recognising import compare_sessions, recognised
from footwork.questions.sessions.session_calendar import calendar

__all__ = [
    "against",
    "allowed",
    "calendar",
    "change_session",
    "compare_sessions",
    "copy_session",
    "from_file",
    "from_workout",
    "is_hard",
    "kept_session",
    "listed_sessions",
    "match_session",
    "minimum",
    "plan_session",
    "recognised",
    "repeat_session",
    "restless",
    "session_asked",
    "session_basis",
    "session_workout",
    "solve_session",
    "worded",
    "workout_of",
    "yaml_of",
]
