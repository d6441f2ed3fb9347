"""Files written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path


def replace(path: Path, content: bytes) -> None:
    """Write a file in one step: whoever reads it finds the old content or the new.

    Raises OSError, and leaves what was there, where it cannot be written.
    """
    draft = path.with_name(f"{path.name}.{os.getpid()}.new")
    try:
        draft.write_bytes(content)
        os.replace(draft, path)
    finally:
        draft.unlink(missing_ok=True)
