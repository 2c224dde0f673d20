"""Drop the fields of an npm lock file that name hosts: `strip_hosts.py package-lock.json`."""

import json
import sys
from pathlib import Path

path = Path(sys.argv[1])
lock = json.loads(path.read_text())
for package in lock["packages"].values():
    for field in ("resolved", "funding"):
        package.pop(field, None)
path.write_text(json.dumps(lock, indent=2) + "\n")
