"""Runs `make.py --check` of every folder beside this file; fails if one of them does.

    .venv/bin/python checks/run_oracles.py [FOLDER...]     all folders, or those named
    .venv/bin/python checks/run_oracles.py --installed     are the pinned libraries installed?

Each make.py recomputes its tables with a general-purpose library and compares them with the
committed ones, which the Rust tests read. So a wrong table is found here, a wrong crate there.
"""

import os
import subprocess
import sys
import time
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

HERE = Path(__file__).resolve().parent
SECONDS_PER_SCRIPT = 600


def installed():
    """Prints every pin of requirements.txt that is not installed as written."""
    wrong = 0
    for line in (HERE / "requirements.txt").read_text().splitlines():
        if "==" not in line or line.startswith("#"):
            continue
        name, _, wanted = line.strip().partition("==")
        try:
            have = version(name)
        except PackageNotFoundError:
            have = "nothing"
        if have != wanted:
            wrong += 1
            print(f"{name}: {have} is installed, {wanted} is pinned")
    return wrong == 0


def run(folder):
    """One make.py --check; True if it agrees."""
    environment = dict(os.environ, PYTHONPATH=str(HERE), PYTHONDONTWRITEBYTECODE="1")
    began = time.monotonic()
    print(f"-- {folder.name}", flush=True)
    text = (folder / "make.py").read_text()
    if "--check" not in text and "from oracle import" not in text:
        print("   FAILED: make.py does not know --check (see oracle.py)", flush=True)
        return False
    try:
        status = subprocess.run(
            [sys.executable, str(folder / "make.py"), "--check"],
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            timeout=SECONDS_PER_SCRIPT,
        ).returncode
    except subprocess.TimeoutExpired:
        print(f"   no end after {SECONDS_PER_SCRIPT} s")
        status = -1
    print(f"   {'agrees' if status == 0 else f'FAILED (exit status {status})'}, "
          f"{time.monotonic() - began:.1f} s", flush=True)
    return status == 0


def main():
    if sys.argv[1:] == ["--installed"]:
        sys.exit(0 if installed() else 1)
    folders = sorted(path.parent for path in HERE.glob("*/make.py"))
    if sys.argv[1:]:
        folders = [folder for folder in folders if folder.name in sys.argv[1:]]
    if not folders:
        print("no folder with a make.py")
        sys.exit(1)
    failed = [folder.name for folder in folders if not run(folder)]
    print(f"\n{len(folders)} oracles run, {len(failed)} failed{': ' if failed else ''}{', '.join(failed)}")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
