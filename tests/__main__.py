"""Set up on a fresh machine, then check and test everything: ``python3 -m tests [pytest arguments]``."""

from __future__ import annotations

import os
import shutil
import sys

from tests.bootstrap import SetUpError, add_system_packages, has_display, run, set_up


def main(arguments: list[str]) -> int:
    """Run every step, the tests last; gives back the exit code of the first step that failed."""
    try:
        python = str(set_up("dev"))
        add_system_packages()
    except SetUpError as problem:
        print(f"python3 -m tests: {problem}", file=sys.stderr)
        return 2
    checks = {
        "ruff check": [python, "-m", "ruff", "check", "."],
        "ruff format": [python, "-m", "ruff", "format", "--check", "."],
        "mypy": [python, "-m", "mypy"],
    }
    codes = {name: run(command) for name, command in checks.items()}
    for name, code in codes.items():
        if code:
            print(f"{name} failed (exit code {code}); going on with the tests", flush=True)
    screen = [] if has_display() or not shutil.which("xvfb-run") else ["xvfb-run", "-a"]
    # a process for each core, so each with one thread for its sums; a module stays in one process, which
    # makes what its tests share once
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    spread = [] if "-n" in arguments else ["-n", "auto", "--dist", "loadfile", "--no-loadscope-reorder"]
    tests = run([*screen, python, "-m", "pytest", *spread, *arguments])
    return next((code for code in [*codes.values(), tests] if code), 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
