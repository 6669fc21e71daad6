"""A file that nobody reads or alters unnoticed without its passphrase. Pure: no Django.

Layout: a head, then the content in chunks of 1 MiB, each encrypted and authenticated by
AES-256-GCM. The nonce of a chunk is 7 random bytes of the file, the chunk's number (4 bytes) and a
byte that says whether it is the last: so a chunk altered, moved, repeated or cut off is found. This
is the STREAM construction of Hoang, Reyhanitabar, Rogaway, Vizar, "Online Authenticated-Encryption
and its Nonce-Reuse Misuse-Resistance", 2015 (from memory, not re-read).

The key comes from the passphrase by scrypt (RFC 7914) with a salt of the file's own, so no two
files share a key. The head carries its own HMAC, which tells a wrong passphrase from a damaged
file.
"""

import hashlib
import hmac
import os
import struct
from dataclasses import dataclass
from typing import BinaryIO

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from clinic.keeping.backup_errors import Damaged, NewerFormat, NotABackup, WrongPassphrase

MAGIC = b"EBBLINE BACKUP\n"
# What this release writes, and the newest it reads.
FORMAT_VERSION = 1
CHUNK_BYTES = 1024 * 1024
TAG_BYTES = 16

# OWASP Password Storage Cheat Sheet, scrypt: N = 2^17, r = 8, p = 1 (from memory, not re-read).
SCRYPT_LOG2_N, SCRYPT_R, SCRYPT_P = 17, 8, 1
# A head that asks for more than this is not one of ours: reading it must not eat the memory.
LARGEST_LOG2_N = 20

_PLAIN_HEAD = struct.Struct(f">{len(MAGIC)}sHBBB16s7s")
_NONCE = struct.Struct(">7sIB")
_HMAC_BYTES = 32
HEAD_BYTES = _PLAIN_HEAD.size + _HMAC_BYTES


@dataclass(frozen=True)
class _Keys:
    """What one file is locked with."""

    cipher: AESGCM
    prefix: bytes
    head: bytes

    def nonce(self, number: int, *, is_last: bool) -> bytes:
        return _NONCE.pack(self.prefix, number, is_last)


class SealingWriter:
    """Takes bytes and writes them sealed to `file`. Only `finish` makes the file complete."""

    def __init__(self, file: BinaryIO, passphrase: str) -> None:
        self._file = file
        self._buffer = bytearray()
        self._number = 0
        self._keys, head = _fresh_keys(passphrase)
        file.write(head)

    def write(self, content: bytes) -> None:
        self._buffer += content
        # One chunk always stays behind, because the last one is marked.
        while len(self._buffer) > CHUNK_BYTES:
            self._seal(bytes(self._buffer[:CHUNK_BYTES]), is_last=False)
            del self._buffer[:CHUNK_BYTES]

    def finish(self) -> None:
        self._seal(bytes(self._buffer), is_last=True)
        self._buffer.clear()

    def _seal(self, chunk: bytes, *, is_last: bool) -> None:
        nonce = self._keys.nonce(self._number, is_last=is_last)
        self._file.write(self._keys.cipher.encrypt(nonce, chunk, self._keys.head))
        self._number += 1


class SealedReader:
    """Gives back what was sealed, chunk by chunk, never a byte that was not authenticated.

    Raises NotABackup, NewerFormat, WrongPassphrase at once; Damaged while reading.
    """

    def __init__(self, file: BinaryIO, passphrase: str) -> None:
        self._file = file
        self._keys = _keys_of(file.read(HEAD_BYTES), passphrase)
        self._number = 0
        self._ahead = file.read(CHUNK_BYTES + TAG_BYTES)
        self._is_over = False

    def chunk(self) -> bytes:
        """The next chunk; empty after the last."""
        if self._is_over:
            return b""
        sealed, self._ahead = self._ahead, self._file.read(CHUNK_BYTES + TAG_BYTES)
        self._is_over = not self._ahead
        nonce = self._keys.nonce(self._number, is_last=self._is_over)
        self._number += 1
        try:
            return self._keys.cipher.decrypt(nonce, sealed, self._keys.head)
        except (InvalidTag, ValueError) as error:
            raise Damaged from error


def _fresh_keys(passphrase: str) -> tuple[_Keys, bytes]:
    salt, prefix = os.urandom(16), os.urandom(7)
    cost = (SCRYPT_LOG2_N, SCRYPT_R, SCRYPT_P)
    plain = _PLAIN_HEAD.pack(MAGIC, FORMAT_VERSION, *cost, salt, prefix)
    encrypting, signing = _derived(passphrase, salt, cost)
    return _Keys(AESGCM(encrypting), prefix, plain), plain + _signature(signing, plain)


def _keys_of(head: bytes, passphrase: str) -> _Keys:
    if not head.startswith(MAGIC) or len(head) < HEAD_BYTES:
        raise NotABackup
    plain, signature = head[: _PLAIN_HEAD.size], head[_PLAIN_HEAD.size :]
    _, version, log2_n, r, p, salt, prefix = _PLAIN_HEAD.unpack(plain)
    if version > FORMAT_VERSION:
        raise NewerFormat(version, FORMAT_VERSION)
    if not 1 <= log2_n <= LARGEST_LOG2_N or (r, p) != (SCRYPT_R, SCRYPT_P):
        raise Damaged
    encrypting, signing = _derived(passphrase, salt, (log2_n, r, p))
    if not hmac.compare_digest(signature, _signature(signing, plain)):
        raise WrongPassphrase
    return _Keys(AESGCM(encrypting), prefix, plain)


def _derived(passphrase: str, salt: bytes, cost: tuple[int, int, int]) -> tuple[bytes, bytes]:
    """Two keys of 32 bytes: one encrypts, one signs the head."""
    log2_n, r, p = cost
    n = 2**log2_n
    memory = 128 * n * r + 1024 * 1024  # the largest allowed stays within OpenSSL's 2 GiB
    both = hashlib.scrypt(passphrase.encode(), salt=salt, n=n, r=r, p=p, maxmem=memory, dklen=64)
    return both[:32], both[32:]


def _signature(key: bytes, plain_head: bytes) -> bytes:
    return hmac.digest(key, plain_head, "sha256")
