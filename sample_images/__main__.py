"""Set up on a fresh machine, then measure the sample images: ``python3 -m sample_images [--out DIR]``."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def main(arguments: list[str]) -> int:
    """Run ``periapical demo`` with the arguments given."""
    if not (Path(__file__).resolve().parent.parent / "pyproject.toml").is_file():
        print("This is an installed copy of the sample images; run: periapical demo", file=sys.stderr)
        return 2
    from tests.bootstrap import SetUpError, set_up

    try:
        python = set_up("")
    except SetUpError as problem:
        print(f"python3 -m sample_images: {problem}", file=sys.stderr)
        return 2
    return subprocess.run([str(python), "-m", "radio.cli", "demo", *arguments], check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
