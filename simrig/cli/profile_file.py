"""A profile file that a person and a command write in turns: read anew each time, saved whole."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable

from simrig.errors import InputError, Problem
from simrig.host.catalogue import contents
from simrig.profile.components import SensorKind
from simrig.profile.machine import Profile
from simrig.profile.reader import read

_MARK = b"\xef\xbb\xbf"
_TRIES = 5
_REMARK = '# A key left out is a fact that nobody has found yet.  "none" means: there is none.'


class ProfileFile:
    """One profile file.

    Every change reads the file first, so that what an editor has saved in
    between stays, and replaces it in one step: at any moment the disk holds the
    old file or the new one.
    """

    def __init__(self, path: str, kinds: tuple[SensorKind, ...]) -> None:
        self.path = path
        self._kinds = kinds

    def exists(self) -> bool:
        """Whether the file is there."""
        return os.path.lexists(self.path)

    def read(self) -> Profile:
        """Read it; raises ProfileError with everything wrong in it."""
        return read(contents(self.path, "profile"), self.path, kinds=self._kinds)

    def create(self, profile: Profile) -> None:
        """Write a new file."""
        from simrig.interchange.toml_writer import written

        self._save(f"# {profile.name}\n{_REMARK}\n\n{written(profile)}".encode())

    def change(self, change: Callable[[Profile], Profile]) -> Profile:
        """Change the profile, and nothing else in its file; returns what it says then.

        Raises what ``change`` raises, ProfileError, and InputError where the file
        cannot be written or goes on changing.
        """
        from simrig.interchange.toml_editing import edited

        for _ in range(_TRIES):
            data = contents(self.path, "profile")
            before = read(data, self.path, kinds=self._kinds)
            after = change(before)
            if after == before:
                return before
            text = data.removeprefix(_MARK).decode()
            made = edited(text, before, after).encode()
            if contents(self.path, "profile") == data:
                self._save(_MARK + made if data.startswith(_MARK) else made)
                return after
        raise self._cannot("another program keeps changing it; close it there and go on")

    def _save(self, data: bytes) -> None:
        target = os.path.realpath(self.path)
        draft = f"{target}.part"
        try:
            with open(draft, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            with contextlib.suppress(OSError):
                os.chmod(draft, os.stat(target).st_mode & 0o7777)
            os.replace(draft, target)
        except OSError as error:
            with contextlib.suppress(OSError):
                os.unlink(draft)
            why = f"{error.strerror or error}; name a file in a folder where you may write"
            raise self._cannot(why) from error

    def _cannot(self, why: str) -> InputError:
        message = f"cannot be written: {why}; nothing of it was changed"
        return InputError([Problem(file=self.path, where="file", message=message)])
