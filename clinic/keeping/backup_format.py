"""What a backup says, as a stream of records: a head, each table, a trailer. Pure: no Django.

A record is one byte of kind, four bytes of length, and its content. The stream is compressed
(zlib) and sealed (`cipher`). A table's rows are PostgreSQL's COPY text, a line a row, in the order
of its key.
"""

import hashlib
import json
import struct
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, field
from typing import Any, BinaryIO

from clinic.keeping.backup_errors import Damaged
from clinic.keeping.cipher import SealedReader, SealingWriter

_RECORD = struct.Struct(">cI")
HEAD, TABLE, ROWS, TABLE_END, TRAILER = b"H", b"T", b"R", b"E", b"Z"
# Rows are gathered into records of about this size.
BLOCK_BYTES = 256 * 1024
# No record of ours is longer: one row may exceed a block, as a letter's PDF does.
LONGEST_RECORD = 1024 * 1024 * 1024


@dataclass(frozen=True)
class Head:
    """When, by which release, and at which state of the schema a backup was made."""

    made_at: str  # ISO 8601, UTC
    release: str
    migrations: tuple[tuple[str, str], ...]  # (app, name) in the order applied
    left_out: tuple[str, ...]  # tables whose rows are not in the backup


@dataclass(frozen=True)
class Table:
    """A table and its stored columns with their types, in order."""

    name: str
    columns: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Content:
    """How much a table holds, and the SHA-256 of its rows as COPY text."""

    rows: int
    sha256: str


@dataclass(frozen=True)
class Sequence:
    """A sequence's standing: the last value, and whether it was handed out."""

    name: str
    last_value: int
    is_called: bool


@dataclass(frozen=True)
class Trailer:
    """What the whole backup holds, to compare with."""

    tables: dict[str, Content]
    sequences: tuple[Sequence, ...]

    @property
    def rows(self) -> int:
        return sum(content.rows for content in self.tables.values())


@dataclass
class Counting:
    """Counts and hashes COPY text as it passes."""

    rows: int = 0
    _digest: Any = field(default_factory=hashlib.sha256)

    def add(self, text: bytes) -> None:
        # COPY text writes a newline within a value as \n, so each newline ends a row.
        self.rows += text.count(b"\n")
        self._digest.update(text)

    @property
    def content(self) -> Content:
        return Content(self.rows, self._digest.hexdigest())


class BackupWriter:
    """Writes a head, tables and the trailer to a file, sealed with a passphrase."""

    def __init__(self, file: BinaryIO, passphrase: str, head: Head) -> None:
        self._sealed = SealingWriter(file, passphrase)
        self._packed = zlib.compressobj(6)
        self._tables: dict[str, Content] = {}
        self._say(HEAD, asdict(head))

    def table(self, table: Table, texts: Iterable[bytes]) -> None:
        """One table whole: `texts` are pieces of its COPY text, cut anywhere."""
        self._say(TABLE, asdict(table))
        counted = Counting()
        for block in _blocks(texts):
            counted.add(block)
            self._put(ROWS, block)
        self._tables[table.name] = counted.content
        self._say(TABLE_END, asdict(counted.content))

    def finish(self, sequences: Iterable[Sequence]) -> Trailer:
        trailer = Trailer(self._tables, tuple(sequences))
        self._say(TRAILER, asdict(trailer))
        self._sealed.write(self._packed.flush())
        self._sealed.finish()
        return trailer

    def _say(self, kind: bytes, said: dict[str, Any]) -> None:
        self._put(kind, json.dumps(said).encode())

    def _put(self, kind: bytes, content: bytes) -> None:
        self._sealed.write(self._packed.compress(_RECORD.pack(kind, len(content)) + content))


class BackupReader:
    """Reads a backup from its beginning to its end, once.

    Raises NotABackup, NewerFormat, WrongPassphrase, Damaged. `head` is there at once; `tables` must
    be read to its end before `trailer` is asked for, which checks every count and hash.
    """

    def __init__(self, file: BinaryIO, passphrase: str) -> None:
        self._sealed = SealedReader(file, passphrase)
        self._unpacked = zlib.decompressobj()
        self._buffer = bytearray()
        self._found: dict[str, Content] = {}
        self.head = _head_of(self._said(HEAD, self._record()))
        self._end: bytes | None = None

    def tables(self) -> Iterator[tuple[Table, Iterator[bytes]]]:
        """Each table with its COPY text in pieces, which are read before the next table."""
        while (record := self._record())[0] == TABLE:
            table = _table_of(self._said(TABLE, record))
            yield table, self._rows(table)
        self._end = self._content(TRAILER, record)

    def trailer(self) -> Trailer:
        is_over = not self._buffer and not self._more() and not self._sealed.chunk()
        if self._end is None or self._unpacked.unused_data or not is_over:
            raise Damaged
        trailer = _trailer_of(_json(self._end))
        if trailer.tables != self._found:
            raise Damaged
        return trailer

    def _rows(self, table: Table) -> Iterator[bytes]:
        counted = Counting()
        while (record := self._record())[0] == ROWS:
            counted.add(record[1])
            yield record[1]
        if Content(**self._said(TABLE_END, record)) != counted.content:
            raise Damaged
        self._found[table.name] = counted.content

    def _said(self, kind: bytes, record: tuple[bytes, bytes]) -> dict[str, Any]:
        return _json(self._content(kind, record))

    def _content(self, kind: bytes, record: tuple[bytes, bytes]) -> bytes:
        if record[0] != kind:
            raise Damaged
        return record[1]

    def _record(self) -> tuple[bytes, bytes]:
        kind, length = _RECORD.unpack(self._take(_RECORD.size))
        if length > LONGEST_RECORD:
            raise Damaged
        return kind, self._take(length)

    def _take(self, length: int) -> bytes:
        while len(self._buffer) < length:
            if not self._more():
                raise Damaged
        taken = bytes(self._buffer[:length])
        del self._buffer[:length]
        return taken

    def _more(self) -> bool:
        """Unpack a little more into the buffer; False at the end of the content."""
        try:
            while not self._unpacked.eof:
                packed = self._unpacked.unconsumed_tail or self._sealed.chunk()
                fresh = self._unpacked.decompress(packed, BLOCK_BYTES)
                self._buffer += fresh
                if fresh:
                    return True
                if not packed:
                    raise Damaged
        except zlib.error as error:
            raise Damaged from error
        return False


def _blocks(texts: Iterable[bytes]) -> Iterator[bytes]:
    block = bytearray()
    for text in texts:
        block += text
        if len(block) >= BLOCK_BYTES:
            yield bytes(block)
            block.clear()
    if block:
        yield bytes(block)


def _json(text: bytes) -> dict[str, Any]:
    try:
        return dict(json.loads(text))
    except ValueError as error:
        raise Damaged from error


def _head_of(said: dict[str, Any]) -> Head:
    migrations = tuple((app, name) for app, name in said["migrations"])
    return Head(said["made_at"], said["release"], migrations, tuple(said["left_out"]))


def _table_of(said: dict[str, Any]) -> Table:
    return Table(said["name"], tuple((name, kind) for name, kind in said["columns"]))


def _trailer_of(said: dict[str, Any]) -> Trailer:
    tables = {name: Content(**content) for name, content in said["tables"].items()}
    return Trailer(tables, tuple(Sequence(**each) for each in said["sequences"]))
