"""The command ``simrig``, and ``python -m simrig``.

The version is told before anything else is imported.
"""

import sys

from simrig import __version__


def main() -> int:
    """Run the command line of this process and return its exit code."""
    if sys.argv[1:] == ["--version"]:
        print(f"simrig {__version__}")
        return 0
    from simrig.cli.main import main as run

    return run(sys.argv[1:])


if __name__ == "__main__":
    sys.exit(main())
