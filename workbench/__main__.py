"""Lets ``python -m workbench`` be the command."""

import sys

from workbench.cli import main

if __name__ == "__main__":
    sys.exit(main())
