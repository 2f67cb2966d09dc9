"""`python -m tests.hostile NAME …`: hostile input from seeds, for as long as one likes."""

import sys
from importlib import import_module

NAMES = ("wire", "fuzz")


def main() -> int:
    """Run what is named."""
    if len(sys.argv) < 2 or sys.argv[1] not in NAMES:
        print(f"usage: python -m tests.hostile {{{','.join(NAMES)}}} …")
        return 2
    found: int = import_module(f"tests.hostile.{sys.argv[1]}").main(sys.argv[2:])
    return found


if __name__ == "__main__":
    sys.exit(main())
