"""`python -m tests.bench NAME [...]`: run one benchmark, print its table, write its figures as JSON."""

import argparse
import json
import sys
from importlib import import_module
from pathlib import Path

NAMES = ("clients", "console", "drop", "mqtt", "proof")


def main() -> int:
    """Run the benchmark that is named."""
    parser = argparse.ArgumentParser("python -m tests.bench", description=__doc__)
    parser.add_argument("name", choices=NAMES)
    parser.add_argument("--json", type=Path, help="write here instead of NAME.json")
    parser.add_argument("--quick", action="store_true", help="few samples: shows that it works, measures nothing")
    asked, rest = parser.parse_known_args()
    found = import_module(f"tests.bench.{asked.name}").run(rest, quick=asked.quick)
    path = asked.json or Path(f"{asked.name}.json")
    path.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    print(f"written: {path}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
