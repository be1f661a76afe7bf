"""``python -m tui``: the command line without an installed entry point."""

import sys

from tui.cli import main

sys.exit(main())
