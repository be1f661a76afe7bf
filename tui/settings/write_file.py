"""Small files of the user's own, written whole or not at all."""

import contextlib
import os
import tempfile
from pathlib import Path

from meterlink.errors import CannotWriteError
from meterlink.quantities.text import plain


def write_whole(file: Path, data: bytes) -> None:
    """Write ``data`` to ``file``, in a folder that is made if need be, in place of what was there.

    Raises:
        CannotWriteError: it cannot be written; what was there is left as it was.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}.")
        try:
            with os.fdopen(handle, "wb") as opened:
                opened.write(data)
            Path(name).replace(file)
        except OSError:
            with contextlib.suppress(OSError):
                Path(name).unlink()
            raise
    except OSError as fault:
        raise CannotWriteError(
            f"{plain(str(file), 400)} cannot be written: {fault.strerror or fault}"
        ) from fault
