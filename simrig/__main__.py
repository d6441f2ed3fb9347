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
    import gc

    # A command makes much that lives as long as it does: looking it over often finds nothing.
    gc.set_threshold(50_000, 20, 20)
    from simrig.cli.main import main as run

    code = run(sys.argv[1:])
    # Nor does the last look, at the very end, find anything worth a tenth of the time.
    gc.freeze()
    return code


if __name__ == "__main__":
    sys.exit(main())
