"""How the secrets of a second factor are kept: encrypted or hashed, never readable."""

import base64

from cryptography.fernet import Fernet, InvalidToken
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings
from django.contrib.auth.hashers import PBKDF2PasswordHasher

# NIST SP 800-63B rev. 4, 3.1.2.2: look-up secrets under 112 bits are salted and hashed by a
# password hashing scheme, "the work factor ... may be small" because they are drawn at random.
CODE_ROUNDS = 20_000


def sealed(secret: bytes) -> str:
    """The secret, encrypted with a key derived from the app's own."""
    return _box().encrypt(secret).decode()


def opened(text: str) -> bytes | None:
    """The secret again; None where the app's key is another one by now."""
    try:
        return _box().decrypt(text.encode())
    except InvalidToken:
        return None


def _box() -> Fernet:
    derive = HKDF(SHA256(), length=32, salt=None, info=b"ebbline second factor")
    return Fernet(base64.urlsafe_b64encode(derive.derive(settings.SECRET_KEY.encode())))


def hashed_code(code: str) -> str:
    """A recovery code as it is kept: salted, hashed."""
    hasher = PBKDF2PasswordHasher()
    return hasher.encode(code, hasher.salt(), iterations=CODE_ROUNDS)


def is_code(code: str, hashed: str) -> bool:
    return PBKDF2PasswordHasher().verify(code, hashed)
