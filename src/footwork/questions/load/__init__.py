from __future__ import annotations

from footwork.questions.load.time_in_domains import domains_of, domains_of_runs, load_of_run, load_of_runs, load_of_span

__all__ = ["domains_of", "domains_of_runs", "load_of_run", "load_of_runs", "load_of_span"]
