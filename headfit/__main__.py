"""`python -m headfit` is the same as the `headfit` command."""

import sys

from headfit.cli import main

if __name__ == "__main__":
    sys.exit(main())
