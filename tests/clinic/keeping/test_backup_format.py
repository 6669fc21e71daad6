"""The backup's stream by itself: bounded memory, and what a reader makes of a damaged one."""

import hashlib
import tracemalloc
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from clinic.keeping import cipher
from clinic.keeping.backup_errors import Damaged, WrongPassphrase
from clinic.keeping.backup_format import BackupReader, BackupWriter, Head, Sequence, Table
from clinic.keeping.cipher import CHUNK_BYTES, HEAD_BYTES, TAG_BYTES, SealedReader, SealingWriter

PASSPHRASE = "nine garments on the line"
HEAD = Head("2026-03-04T02:30:00+00:00", "0.1.0", (("clients", "0001_initial"),), ())
TABLE = Table("clients_client", (("id", "uuid"), ("note", "text")))
MEGABYTE = 1024 * 1024


@pytest.fixture(autouse=True)
def _quick_passphrase(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cipher, "SCRYPT_LOG2_N", 4)


def many_rows(megabytes: int) -> Iterator[bytes]:
    for _ in range(megabytes * 16):
        yield (b"x" * 1023 + b"\n") * 64


def test_memory_stays_small_however_long_a_table_is(tmp_path: Path) -> None:
    """Also where a chunk of the file unpacks to a thousand times its size."""
    path = tmp_path / "long"
    tracemalloc.start()
    with path.open("w+b") as file:
        writer = BackupWriter(file, PASSPHRASE, HEAD)
        writer.table(TABLE, many_rows(64))
        written = writer.finish([Sequence("clients_record_number", 10_043, True)])
        file.seek(0)
        reader = BackupReader(file, PASSPHRASE)
        for _, texts in reader.tables():
            for text in texts:
                assert len(text) < MEGABYTE
        assert reader.trailer() == written
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert written.tables["clients_client"].rows == 64 * 1024
    assert peak < 12 * MEGABYTE


def sealed(path: Path, chunks: int) -> bytes:
    with path.open("w+b") as file:
        writer = SealingWriter(file, PASSPHRASE)
        for number in range(chunks):
            writer.write(bytes([number]) * CHUNK_BYTES)
        writer.finish()
    return path.read_bytes()


def read_all(path: Path) -> bytes:
    with path.open("rb") as file:
        reader = SealedReader(file, PASSPHRASE)
        return b"".join(iter(reader.chunk, b""))


def test_chunks_left_out_swapped_or_repeated_are_found(tmp_path: Path) -> None:
    path, size = tmp_path / "sealed", CHUNK_BYTES + TAG_BYTES
    whole = sealed(path, 3)
    assert len(read_all(path)) == 3 * CHUNK_BYTES
    head, body = whole[:HEAD_BYTES], whole[HEAD_BYTES:]
    first, second, third = body[:size], body[size : 2 * size], body[2 * size :]
    for parts in (
        (first, second),
        (first, third),
        (second, first, third),
        (first, first, second, third),
        (first, second, third, third),
    ):
        path.write_bytes(head + b"".join(parts))
        with pytest.raises(Damaged):
            read_all(path)


@pytest.mark.parametrize("log2_n", [0, 21, 255])
def test_a_head_that_asks_for_an_impossible_cost_is_damaged(tmp_path: Path, log2_n: int) -> None:
    """Before the passphrase is tried: neither a traceback nor all of the memory."""
    path, place = tmp_path / "sealed", len(cipher.MAGIC) + 2
    whole = bytearray(sealed(path, 0))
    assert whole[place] == cipher.SCRYPT_LOG2_N
    whole[place] = log2_n
    path.write_bytes(whole)
    with pytest.raises(Damaged):
        read_all(path)


def test_the_dearest_head_allowed_can_be_tried(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It needs the 1 GiB that scrypt needs; OpenSSL grants less than 2 (hashlib's own limit)."""
    path, asked = tmp_path / "sealed", []
    whole = bytearray(sealed(path, 0))
    whole[len(cipher.MAGIC) + 2] = cipher.LARGEST_LOG2_N
    path.write_bytes(whole)

    def scrypt(*_: Any, maxmem: int, dklen: int, **__: Any) -> bytes:
        asked.append(maxmem)
        return bytes(dklen)

    monkeypatch.setattr(hashlib, "scrypt", scrypt)
    with pytest.raises(WrongPassphrase):
        read_all(path)
    # RFC 7914, section 2: 128 * r * N bytes.
    assert 128 * 8 * 2**20 < asked[0] < 2**31


def test_two_backups_of_the_same_content_have_nothing_in_common(tmp_path: Path) -> None:
    one, two = sealed(tmp_path / "one", 1), sealed(tmp_path / "two", 1)
    assert one[-CHUNK_BYTES:] != two[-CHUNK_BYTES:]
