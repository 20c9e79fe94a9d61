"""A report to a runner on a week, a block or a season."""

from __future__ import annotations

from footwork.questions.report.report_of import KINDS, report_of

__all__ = ["KINDS", "report_of"]
