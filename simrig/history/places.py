"""Where the shop's record belongs on this system, unless somebody names another file."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Final

FILE_NAME: Final = "history.sqlite"


def default_store(
    *,
    platform: str = sys.platform,
    environment: Mapping[str, str] = os.environ,
    home: Path | None = None,
) -> Path:
    """Return the path of the record when none is named.

    ``XDG_DATA_HOME``, or ``.local/share`` in the home folder; on macOS the folder
    of application support; on Windows the local application data.  A relative
    ``XDG_DATA_HOME`` is ignored (XDG Base Directory Specification).
    """
    home = home or Path.home()
    if platform == "darwin":
        folder = home / "Library" / "Application Support"
    elif platform == "win32":
        local = environment.get("LOCALAPPDATA", "")
        folder = Path(local) if local else home / "AppData" / "Local"
    else:
        stated = environment.get("XDG_DATA_HOME", "")
        absolute = stated.startswith("/")
        folder = Path(stated) if absolute else home / ".local" / "share"
    return folder / "simrig" / FILE_NAME
