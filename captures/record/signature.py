"""A signing key for this bench: who closed a record, where somebody keeps the public part.

Ed25519 (RFC 8032), by the extra ``sign``. A bench has a key only where one was asked for. What is
signed is the text of a final seal (see FORMAT.md).
"""

import os
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final

import tomli_w
from msgspec.structs import replace

from captures.record.files import open_regular
from captures.record.seals import Seal
from meterlink.errors import CannotWriteError, FaultFoundError, UnreadableError, UsageError
from meterlink.quantities.text import plain

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

KEY_FILE: Final = "bench.pem"
_PUBLIC: Final = re.compile(r"ed25519:([0-9a-f]{64})")
_LARGEST: Final = 1 << 20
_FOR_OTHERS: Final = 0o077

Sign = Callable[[Seal], Seal]
"""Returns a final seal with key and signature."""


def default_folder() -> Path:
    """Return where the key of this bench lies."""
    import platformdirs

    return platformdirs.user_data_path("meterlink", appauthor=False) / "keys"


def make_key(folder: Path | None = None) -> str:
    """Make the key of this bench; return its public part.

    Raises:
        UsageError: the extra ``sign`` is not installed.
        CannotWriteError: there is a key already, or it cannot be written.
    """
    try:
        from cryptography.hazmat.primitives import serialization
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    except ImportError as fault:
        raise UsageError(
            "signing needs cryptography; install meterlink with its extra “sign”"
        ) from fault
    folder = default_folder() if folder is None else folder
    path = folder / KEY_FILE
    key = Ed25519PrivateKey.generate()
    data = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(fd, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError as fault:
        raise CannotWriteError(
            f"this bench has a key already, in {plain(str(path), 400)}; it is never replaced. "
            "Move it elsewhere first, and tell those who trust it"
        ) from fault
    except OSError as fault:
        raise CannotWriteError(
            f"{plain(str(path), 400)} cannot be written: {fault.strerror}"
        ) from fault
    return _public_of(key)


def public_key(folder: Path | None = None) -> str:
    """Return the public part of this bench's key, as 64 hexadecimal digits.

    Raises:
        UnreadableError: there is none, or it cannot be used.
    """
    return _public_of(_read_key(default_folder() if folder is None else folder))


def own_signer(folder: Path | None = None) -> Sign | None:
    """Return what signs for this bench; None where it has no key that can be used."""
    folder = default_folder() if folder is None else folder
    try:
        key = _read_key(folder)
    except UnreadableError:
        return None
    public = _public_of(key)

    def sign(seal: Seal) -> Seal:
        return replace(seal, key=public, signature=key.sign(signed_text(seal)).hex())

    return sign


def signed_text(seal: Seal) -> bytes:
    """Return the bytes that the signature of a final seal is of."""
    return f"meterlink-seal\n{seal.lines}\n{seal.bytes}\n{seal.sha256}\n".encode("ascii", "replace")


def is_signed_well(seal: Seal) -> bool | None:
    """Whether the signature of a seal is that of its key; None where that cannot be checked."""
    try:
        from cryptography.exceptions import InvalidSignature
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    except ImportError:
        return None
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(seal.key))
        key.verify(bytes.fromhex(seal.signature), signed_text(seal))
    except (ValueError, InvalidSignature):
        return False
    return True


def as_text(name: str, public: str) -> str:
    """Return the public part of a key as a line of a file of trusted keys."""
    return tomli_w.dumps({name: f"ed25519:{public}"})


def read_trusted(path: Path) -> dict[str, str]:
    """Return the names in a file of trusted keys by their keys.

    Raises:
        UnreadableError: it cannot be read.
        FaultFoundError: it holds something that is no key.
    """
    name = plain(str(path), 400)
    with open_regular(path) as file:
        data = file.read(_LARGEST)
    try:
        given = tomllib.loads(data.decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise FaultFoundError(f"{name} is no file of keys: {plain(str(fault))}") from fault
    trusted = {}
    for who, key in given.items():
        found = _PUBLIC.fullmatch(key) if isinstance(key, str) else None
        if found is None:
            raise FaultFoundError(
                f"{name}: the key of “{plain(who)}” is none; expected ed25519: and 64 "
                "hexadecimal digits, as “meterlink key show” prints them"
            )
        trusted[found[1]] = plain(who)
    return trusted


def _read_key(folder: Path) -> "Ed25519PrivateKey":
    path = folder / KEY_FILE
    name = plain(str(path), 400)
    if not path.exists():
        raise UnreadableError("this bench has no key; “meterlink key make” makes one")
    try:
        from cryptography.hazmat.primitives import serialization
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    except ImportError as fault:
        raise UnreadableError(
            "signing needs cryptography; install meterlink with its extra “sign”"
        ) from fault
    try:
        if os.name == "posix" and path.stat().st_mode & _FOR_OTHERS:
            raise UnreadableError(
                f"{name} may be read by others, so it proves nothing; make a new one, or take "
                f"that right away: chmod 600 {name}"
            )
        key = serialization.load_pem_private_key(path.read_bytes(), password=None)
    except (OSError, ValueError, TypeError) as fault:
        raise UnreadableError(f"{name} cannot be read as a key: {plain(str(fault))}") from fault
    if not isinstance(key, Ed25519PrivateKey):
        raise UnreadableError(f"{name} is a key of another kind; an Ed25519 one is expected")
    return key


def _public_of(key: "Ed25519PrivateKey") -> str:
    return key.public_key().public_bytes_raw().hex()
