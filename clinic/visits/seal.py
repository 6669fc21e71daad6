"""The seal of signed content: its SHA-256 over one agreed way of writing it down. Pure.

The bytes are a version line, then the content as canonical JSON after RFC 8785: keys in the
order of their UTF-16 code units, no white space, shortest escapes, UTF-8, letters as typed (not
normalised). Numbers are whole and within 53 bits, so the RFC's writing of floating point is not
needed: a float is refused, and a Decimal is written as text with the digits it has.
"""

import hashlib
import hmac
import json
from collections.abc import Mapping, Sequence
from decimal import Decimal

from clinic.common.errors import RuleBroken

# Hashed before the content; a new way of writing content gets a new line, old seals keep theirs.
VERSION_LINE = b"ebbline signed content 1\n"

# The largest whole number that every JSON reader keeps exactly: RFC 7493 (I-JSON), 2.2.
LARGEST_WHOLE = 2**53 - 1

# RuleBroken
# └── NotSealable


class NotSealable(RuleBroken):
    """A value that JSON readers may not all understand alike. `path` tells where it stands."""

    def __init__(self, path: str, value: object) -> None:
        super().__init__(path, type(value).__name__)
        self.path = path
        self.kind = type(value).__name__


def seal_of(content: Mapping[str, object]) -> str:
    """SHA-256 of the content in 64 hex digits. Raises NotSealable, as `canonical_bytes`."""
    return hashlib.sha256(VERSION_LINE + canonical_bytes(content)).hexdigest()


def is_intact(content: Mapping[str, object], *, seal: str) -> bool:
    """Whether the content is still what was sealed; what cannot be sealed is not."""
    try:
        return hmac.compare_digest(seal_of(content).encode(), seal.encode())
    except NotSealable:
        return False


def canonical_bytes(content: Mapping[str, object]) -> bytes:
    """The content as canonical JSON in UTF-8, without the version line.

    Takes text, whole numbers, true, false, null, Decimals (written as text), lists, tuples and
    mappings with text keys; anything else raises NotSealable, as half a surrogate pair does.
    Source: RFC 8785, 3.2, without its number writing.
    """
    plain = _plain(content, "")
    text = json.dumps(plain, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.encode()


def _plain(value: object, path: str) -> object:
    """The value as plain JSON values, keys in order."""
    if isinstance(value, str):
        return _text(value, path)
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int) and abs(value) <= LARGEST_WHOLE:
        return int(value)
    if isinstance(value, Decimal) and value.is_finite():
        return str(value)
    if isinstance(value, Mapping):
        return _in_order(value, path)
    if isinstance(value, Sequence) and not isinstance(value, bytes | bytearray | memoryview):
        return [_plain(each, f"{path}[{place}]") for place, each in enumerate(value)]
    raise NotSealable(path, value)


def _in_order(mapping: Mapping[object, object], path: str) -> dict[str, object]:
    keys: list[str] = []
    for key in mapping:
        if not isinstance(key, str):
            raise NotSealable(path, key)
        keys.append(_text(key, path))
    keys.sort(key=lambda key: key.encode("utf-16-be"))
    return {key: _plain(mapping[key], f"{path}.{key}" if path else key) for key in keys}


def _text(value: str, path: str) -> str:
    if not value.isascii():
        try:
            value.encode()
        except UnicodeEncodeError:
            raise NotSealable(path, value) from None
    return str(value)
