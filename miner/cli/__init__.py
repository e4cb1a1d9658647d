"""The command line: parse, call, print."""

from __future__ import annotations


def main() -> None:
    """Run the command of ``sys.argv`` and exit with its code."""
    import sys

    if sys.argv[1:] in ([], ["--help"]):  # at once: what parses the others takes longer to load
        from miner.words.help import HELP

        print(HELP, end="")
        return
    import atexit
    import gc
    import os
    import warnings

    # Loading makes a million objects that stay: to look for cycles among them so often, and once
    # more at the end, is a fifth of a short command's time.
    gc.set_threshold(100_000)
    atexit.register(gc.freeze)

    # A month's matrices are small: threads cost more than they bring, and the sums they make
    # depend on how many there are.
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")

    from miner.cli.group import miner

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        miner.main()
