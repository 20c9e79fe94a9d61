"""One room for what leaves encrypted, hand-overs and backups: the age format with a passphrase (scrypt,
ChaCha20-Poly1305)."""

from __future__ import annotations

import pyrage

from footwork.errors import UnreadableFile, UsageError

SHORTEST = 10  # characters of a passphrase
HEAD = b"age-encryption.org/"


def checked(passphrase: str) -> str:
    """A passphrase that is long enough. Raises UsageError."""
    if len(passphrase) < SHORTEST:
        raise UsageError(f"a passphrase has at least {SHORTEST} characters: a few words do")
    return passphrase


def is_encrypted(head: bytes) -> bool:
    """Whether a file that begins so is in the age format."""
    return head.startswith(HEAD)


def encrypted(content: bytes, passphrase: str) -> bytes:
    """Content in the age format. Raises UsageError for a passphrase that is too short."""
    return bytes(pyrage.passphrase.encrypt(content, checked(passphrase)))


def decrypted(content: bytes, passphrase: str, name: str) -> bytes:
    """Content out of the age format. Raises UnreadableFile for a wrong passphrase, or a file that is cut or
    changed."""
    try:
        return bytes(pyrage.passphrase.decrypt(content, passphrase))
    except pyrage.DecryptError:
        raise UnreadableFile(
            f"{name} cannot be opened: the passphrase is wrong, or the file is cut or changed; nothing was taken"
        ) from None
