"""Print the figures of one benchmark group, or of all: `python -m tests.benchmarks [GROUP]`.

A group is a module `bench_<group>.py` whose `main()` prints lines `figure NAME VALUE UNIT`.
Each runs in a process of its own, so that memory and imports of one do not colour another.
"""

import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent


def main(wanted: list[str]) -> int:
    groups = sorted(path.stem.removeprefix("bench_") for path in HERE.glob("bench_*.py"))
    unknown = set(wanted) - set(groups)
    if unknown:
        print(f"No group {', '.join(sorted(unknown))}; there are: {', '.join(groups)}.")
        return 2
    failed = []
    for group in wanted or groups:
        print(f"== {group}", flush=True)
        script = f"from tests.benchmarks import bench_{group} as bench; bench.main()"
        done = subprocess.run(
            [sys.executable, "-c", script],
            cwd=HERE.parents[1],
            env={**os.environ, "DJANGO_SETTINGS_MODULE": "tests.settings"},
            check=False,
        )
        if done.returncode:
            failed.append(group)
    if failed:
        print(f"Failed: {', '.join(failed)}.")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
