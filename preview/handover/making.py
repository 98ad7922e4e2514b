"""What a file was made by and what it is: the version of covecast, and the digest that tells whether a file has changed."""

from __future__ import annotations

import hashlib
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

__all__ = ["covecast_version", "digest_of"]


def covecast_version() -> str:
    """The version of covecast; empty where it is not installed."""
    try:
        return version("covecast")
    except PackageNotFoundError:
        return ""


def digest_of(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal. Raises OSError where it cannot be read."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
