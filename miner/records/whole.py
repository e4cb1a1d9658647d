"""Writes a file so that it is there whole or as it was."""

from __future__ import annotations

import os
import stat
import tempfile
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that it is there whole or as it was, whatever happens meanwhile.

    Args:
        path: the file; who may read it stays as it was, a new one is its owner's alone.
        content: all of it.

    Raises:
        OSError: the folder cannot be written.
    """
    mode = stat.S_IMODE(path.stat().st_mode) if path.is_file() else 0o600
    handle, name = tempfile.mkstemp(prefix=".incoming-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(mode)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
