"""The command line: parse, call, print."""

from __future__ import annotations


def main() -> None:
    """Run the command of ``sys.argv`` and exit with its code."""
    import warnings

    from miner.cli.group import miner

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        miner.main()
