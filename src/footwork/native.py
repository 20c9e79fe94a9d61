"""Libraries in native code print their panics themselves; the reason reaches the user as a sentence of ours."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Iterator

_QUIET = threading.Lock()


@contextlib.contextmanager
def silence() -> Iterator[None]:
    """Nothing that native code writes to this process's stderr is seen meanwhile; one caller at a time."""
    with _QUIET:
        try:
            kept = os.dup(2)
        except OSError:  # it is closed: nobody sees anything
            yield
            return
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, 2)
        try:
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)
            os.close(null)
