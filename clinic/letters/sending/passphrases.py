"""Passphrases agreed with referrers, sealed with a key made from the server's secret key.

It protects against somebody who gets hold of the database or of a backup alone. It does not
protect against somebody who has the server's secret key as well: the server must be able to lock
letters by itself.
"""

import base64

from cryptography.fernet import Fernet, InvalidToken
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings

# Keeps this key apart from every other use of the secret key.
PURPOSE = b"ebbline.letters.passphrases"
SHORTEST = 12


def sealed(passphrase: str) -> str:
    return _fernet().encrypt(passphrase.encode()).decode()


def opened(seal: str) -> str | None:
    """The passphrase; None when the server's secret key is no longer the one it was sealed with."""
    try:
        return _fernet().decrypt(seal.encode()).decode()
    except InvalidToken:
        return None


def _fernet() -> Fernet:
    derived = HKDF(algorithm=SHA256(), length=32, salt=None, info=PURPOSE)
    return Fernet(base64.urlsafe_b64encode(derived.derive(settings.SECRET_KEY.encode())))
