"""Write a FIT workout: steps of distance or time with a power band (Flexible and Interoperable Data Transfer protocol)."""

from __future__ import annotations

import struct
import time
from collections.abc import Sequence
from dataclasses import dataclass

from footwork.formats.fit import EPOCH, crc

POWER_OFFSET = 1000  # the protocol stores watts plus 1000; less is a share of a threshold
_TYPE_WORKOUT, _RUNNING, _DISTANCE, _TIME, _OPEN, _POWER, _NO_TARGET, _ACTIVE = 5, 1, 1, 0, 5, 4, 2, 0
LONGEST_NAME = 15  # bytes, what watches show of a step


@dataclass(frozen=True)
class Step:
    """One step: its name, how far [m] or how long [s] (neither: until pressed), and its band of power [W] (none: as felt)."""

    name: str
    metres: float | None = None
    seconds: float | None = None
    low: float | None = None
    high: float | None = None


def message(local: int, number: int, fields: list[tuple[int, str, int, int]]) -> bytes:
    """A definition and its data; fields are (number, struct code, base type, value)."""
    head = struct.pack("<BBBHB", 0x40 | local, 0, 0, number, len(fields))
    for field, code, base, _ in fields:
        head += struct.pack("<BBB", field, struct.calcsize("<" + code), base)
    return head + bytes([local]) + b"".join(struct.pack("<" + code, value) for _, code, _, value in fields)


def wrapped(body: bytes) -> bytes:
    """A whole file around its messages: header, checksums."""
    head = struct.pack("<BBHI4s", 14, 0x20, 2195, len(body), b".FIT")
    whole = head + struct.pack("<H", crc(head)) + body
    return whole + struct.pack("<H", crc(whole))


def _text(local: int, number: int, fields: list[tuple[int, str, int, int]], field: int, text: str, most: int) -> bytes:
    """A message with one text field last, cut to what fits."""
    raw = text.encode()[:most]
    raw = raw.decode("utf-8", "ignore").encode() + b"\0"
    head = struct.pack("<BBBHB", 0x40 | local, 0, 0, number, len(fields) + 1)
    for f, code, base, _ in fields:
        head += struct.pack("<BBB", f, struct.calcsize("<" + code), base)
    head += struct.pack("<BBB", field, len(raw), 0x07)
    return head + bytes([local]) + b"".join(struct.pack("<" + code, value) for _, code, _, value in fields) + raw


def encode(name: str, steps: Sequence[Step]) -> bytes:
    """The bytes of a FIT workout for running.

    Raises
    ------
    ValueError
        No step, more than 200, or a band that is none.
    """
    if not 1 <= len(steps) <= 200:
        raise ValueError(f"a workout has 1 to 200 steps, not {len(steps)}")
    body = message(0, 0, [(0, "B", 0x00, _TYPE_WORKOUT), (1, "H", 0x84, 255), (2, "H", 0x84, 1), (3, "I", 0x8C, 1),
                          (4, "I", 0x86, int(time.time()) - EPOCH)])  # fmt: skip
    body += _text(1, 26, [(4, "B", 0x00, _RUNNING), (6, "H", 0x84, len(steps))], 8, name, 40)
    for index, step in enumerate(steps):
        if (step.low is None) != (step.high is None) or (
            step.low is not None and not 0 <= step.low <= (step.high or 0)
        ):
            raise ValueError(f"step {index + 1} has no band of power")
        if step.metres is not None:
            kind, value = _DISTANCE, round(100 * step.metres)
        elif step.seconds is not None:
            kind, value = _TIME, round(1000 * step.seconds)
        else:
            kind, value = _OPEN, 0
        target = _NO_TARGET if step.low is None else _POWER
        low, high = (
            (0, 0) if step.low is None else (POWER_OFFSET + round(step.low), POWER_OFFSET + round(step.high or 0))
        )
        fields = [
            (254, "H", 0x84, index), (1, "B", 0x00, kind), (2, "I", 0x86, value), (3, "B", 0x00, target), (4, "I", 0x86, 0),
            (5, "I", 0x86, low), (6, "I", 0x86, high), (7, "B", 0x00, _ACTIVE),
        ]  # fmt: skip
        body += _text(2, 27, fields, 0, step.name, LONGEST_NAME)
    return wrapped(body)
