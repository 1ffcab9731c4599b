"""``python -m pathgen``: the same as the command ``pathgen``."""

import sys

from pathgen.cli import main

if __name__ == "__main__":
    sys.exit(main())
