"""One family of errors. Each message says what was wrong, where, and what to do."""

from __future__ import annotations


class FootworkError(Exception):
    """Something the user can act on. ``exit_code`` is what the command line exits with."""

    exit_code = 1


class UsageError(FootworkError):
    """The question cannot be understood or contradicts itself."""

    exit_code = 2


class NoSuchRun(UsageError):
    """A run number that the library does not hold."""


class UnreadableFile(FootworkError):
    """A file that claims to be a recording but cannot be decoded."""

    exit_code = 3


class NotARecording(FootworkError):
    """A readable file that holds no recording of ours; importing skips it."""

    exit_code = 3


class LibraryError(FootworkError):
    """The library folder cannot be opened, read or written."""

    exit_code = 4


class LeftOut(FootworkError):
    """The answer is made, without what is damaged and named."""

    exit_code = 7


class HeldBack(FootworkError):
    """Hard running is asked for while the diary tells of illness, injury or a return from it."""

    exit_code = 6


class NotEnoughData(FootworkError):
    """The recordings cannot carry the answer."""

    exit_code = 5
