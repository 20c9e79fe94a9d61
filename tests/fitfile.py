"""Build FIT files message by message, with the faults and developer fields that devices write."""

from __future__ import annotations

import struct

from footwork.formats.fit import EPOCH
from footwork.formats.fit_structure import crc

START = 1_770_000_000  # 2026-02-02T02:40:00Z
_CODES = {"B": 0x02, "b": 0x01, "H": 0x84, "h": 0x83, "I": 0x86, "i": 0x85, "f": 0x88, "e": 0x00, "z": 0x8C}


def message(
    number: int, fields: list[tuple[int, str, float]], developer: list[tuple[int, int, str, float]] = ()
) -> bytes:  # type: ignore[assignment]
    """A definition and its data. Fields: (number, code, value), ``e`` an enum, ``z`` a serial; developer fields:
    (number, developer index, code, value). Text fields take code ``sN`` and a str."""
    head = struct.pack("<BBBHB", 0x60 if developer else 0x40, 0, 0, number, len(fields))
    data = b"\x00"
    for field, code, value in fields:
        if code[0] in "sx" and len(code) > 1:  # text, or bytes as an application id has them
            size = int(code[1:])
            head += struct.pack("<BBB", field, size, 0x07 if code[0] == "s" else 0x0D)
            data += str(value).encode()[: size - 1].ljust(size, b"\x00")
        else:
            kind = {"e": "B", "z": "I"}.get(code, code)
            head += struct.pack("<BBB", field, struct.calcsize(kind), _CODES[code])
            data += struct.pack("<" + kind, value)
    if developer:
        head += bytes([len(developer)])
        for field, index, code, value in developer:
            head += struct.pack("<BBB", field, struct.calcsize(code), index)
            data += struct.pack("<" + code, value)
    return head + data


def wrap(body: bytes, header_crc: bool = True) -> bytes:
    """Header, body and checksums; without ``header_crc`` the header's is left 0, as many devices do."""
    head = struct.pack("<BBHI4s", 14, 0x20, 2195, len(body), b".FIT")
    whole = head + struct.pack("<H", crc(head) if header_crc else 0) + body
    return whole + struct.pack("<H", crc(whole))


def file_id(serial: int = 42, start: int = START) -> bytes:
    return message(0, [(0, "e", 4), (1, "H", 255), (2, "H", 1), (3, "z", serial), (4, "I", start - EPOCH)])


def record(
    time: int,
    power: int | None = 200,
    heart_rate: int | None = 140,
    speed: float | None = 3.0,
    distance: float | None = None,
    cadence: int | None = 85,
    developer: list[tuple[int, int, str, float]] = (),
    raw_time: bool = False,
) -> bytes:  # type: ignore[assignment]
    fields: list[tuple[int, str, float]] = [(253, "I", time if raw_time else time - EPOCH)]
    for number, code, value, scale in (
        (3, "B", heart_rate, 1),
        (4, "B", cadence, 1),
        (5, "I", distance, 100),
        (6, "H", speed, 1000),
        (7, "H", power, 1),
    ):
        if value is not None:
            fields.append((number, code, round(value * scale)))
    return message(20, fields, developer)


def timer(time: int, kind: int) -> bytes:
    """Event: 0 start, 1 stop, 4 stop-all, 8 stop-disable, 9 stop-disable-all."""
    return message(21, [(253, "I", time - EPOCH), (0, "e", 0), (1, "e", kind)])


def session(start: int, seconds: int, sport: int = 1, sub_sport: int = 0) -> bytes:
    return message(
        18,
        [
            (253, "I", start + seconds - EPOCH),
            (2, "I", start - EPOCH),
            (5, "e", sport),
            (6, "e", sub_sport),
            (7, "I", seconds * 1000),
            (8, "I", seconds * 1000),
        ],
    )


def field_description(
    number: int, name: str, units: str, native: int | None = None, index: int = 0, base: int = 0x84
) -> bytes:
    fields: list[tuple[int, str, float]] = [
        (0, "B", index),
        (1, "B", number),
        (2, "B", base),
        (3, "s32", name),
        (8, "s16", units),
    ]  # type: ignore[list-item]
    if native is not None:
        fields += [(14, "H", 20), (15, "B", native)]
    return message(206, fields)


def developer_id(index: int = 0) -> bytes:
    return message(207, [(3, "B", index), (4, "I", 1)])


def run(seconds: int = 120, start: int = START, serial: int = 42, **values: object) -> bytes:
    """The body of a plain run at 1 Hz."""
    body = file_id(serial, start) + timer(start, 0)
    for i in range(seconds):
        body += record(start + i, distance=3.0 * i, **{"power": 200 + i % 7, **values})  # type: ignore[arg-type]
    return body + timer(start + seconds, 4) + session(start, seconds)
