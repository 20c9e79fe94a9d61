"""The structure of a FIT file, followed without decoding it: checksums, the files of a chain, and which messages are
needed beside records."""

from __future__ import annotations

import struct

from footwork.errors import UnreadableFile

_NIBBLES = (
    0x0000,
    0xCC01,
    0xD801,
    0x1400,
    0xF001,
    0x3C00,
    0x2800,
    0xE401,
    0xA001,
    0x6C00,
    0x7800,
    0xB401,
    0x5000,
    0x9C01,
    0x8801,
    0x4400,
)
# Numbers in the FIT profile of the messages that are read beside records.
USED = {"file_id": 0, "user_profile": 3, "sport": 12, "session": 18, "lap": 19, "event": 21, "device_info": 23}
USED |= {"course": 31, "course_point": 32, "activity": 34, "field_description": 206, "developer_data_id": 207}
_NUMBERS = frozenset(USED.values())
# No run has more: seven days at 1 Hz are 600,000 records, each perhaps defined anew.
MOST_MESSAGES, MOST_BESIDE = 1_500_000, 100_000


def crc(data: bytes, start: int = 0) -> int:
    """CRC-16 of the FIT protocol over ``data``; over data followed by its own CRC (low byte first) it is 0."""
    value = start
    table = _BYTE_TABLE
    for byte in data:
        value = (value >> 8) ^ table[(value ^ byte) & 0xFF]
    return value


def _byte_table() -> list[int]:
    out = []
    for byte in range(256):
        value = _NIBBLES[byte & 15]
        out.append(((value >> 4) ^ _NIBBLES[(value ^ (byte >> 4)) & 15]) & 0xFFFF)
    return out


_BYTE_TABLE = _byte_table()


def has_header(data: bytes) -> bool:
    """Whether bytes begin as a FIT file does."""
    return len(data) >= 12 and data[8:12] == b".FIT" and data[0] in (12, 14)


def split(data: bytes) -> tuple[list[bytes], list[str]]:
    """The files of a chain by their header lengths, with headers mended in memory where they were left unfinished."""
    parts, lost, at = [], [], 0
    while at < len(data):
        left = len(data) - at
        if not has_header(data[at : at + 14]):
            if data[at:].strip(b"\x00"):
                lost.append(f"{left} bytes after the end that are no FIT data")
            break
        head, size = data[at], struct.unpack_from("<I", data, at + 4)[0]
        whole = head + size + 2
        # Only an unfinished file needs the rest of the chain as a piece of its own.
        rest = data[at:] if size == 0 or whole > left else b""
        if size == 0 and left > head + 2:  # the recorder stopped before it wrote the length
            lost.append("the end of the recording (the file was never closed)")
            parts.append(rest[:4] + struct.pack("<I", len(rest) - head) + rest[8:] + b"\x00\x00")
            break
        if whole > left:
            lost.append(f"the end of the recording (the file is cut: {left} of {whole} bytes)")
            parts.append(rest[:4] + struct.pack("<I", max(len(rest) - head, 0)) + rest[8:] + b"\x00\x00")
            break
        part = data[at : at + whole]
        if head == 14 and part[12:14] == b"\x00\x00" and crc(part) == 0:
            body = part[:12] + struct.pack("<H", crc(part[:12])) + part[14:-2]
            part = body + struct.pack("<H", crc(body))
        parts.append(part)
        at += whole
    return parts, lost


def beside_records(part: bytes) -> bytes | None:
    """The same file with only the messages that are used beside records, which are read as columns: as dictionaries
    they take the most time and memory.

    None where leaving out could change the others, or where the structure is not followed to the end. Raises
    UnreadableFile for more messages than any run has.
    """
    at, end = part[0], len(part) - 2
    kinds: dict[int, tuple[int, int]] = {}  # of each local number: whose messages they are, and their length
    kept = bytearray()
    count = beside = 0
    try:
        while at < end:
            header = part[at]
            if header & 0xC0 == 0x40:  # a definition
                order = ">" if part[at + 2] else "<"
                fields = part[at + 5]
                after = at + 6 + 3 * fields
                size = sum(part[at + 7 : after : 3])
                if header & 0x20:  # developer fields follow
                    developed = after + 1 + 3 * part[after]
                    size += sum(part[after + 2 : developed : 3])
                    after = developed
                kinds[header & 15] = (struct.unpack_from(f"{order}H", part, at + 3)[0], size)
                kept += part[at:after]
            else:
                kind, size = kinds[(header >> 5) & 3 if header & 0x80 else header & 15]
                after = at + 1 + size
                if kind in _NUMBERS:
                    if header & 0x80:  # its time counts on from a record's
                        return None
                    kept += part[at:after]
                    beside += 1
            count += 1
            if count > MOST_MESSAGES or beside > MOST_BESIDE:
                raise UnreadableFile("the FIT file holds more messages than any run has")
            at = after
    except (IndexError, KeyError, struct.error):
        return None
    if at != end:
        return None
    head = bytes([14]) + part[1:4] + struct.pack("<I", len(kept)) + part[8:12]
    whole = head + struct.pack("<H", crc(head)) + kept
    return whole + struct.pack("<H", crc(whole))
