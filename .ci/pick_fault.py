"""Read the list of `troubleshoot faults --json` from stdin and print the id of one open contactor coil.

It is chosen from what the installed program says it knows, never written down here, so that the check of the wheel
cannot go on passing with a name that the program no longer uses.
"""

from __future__ import annotations

import json
import sys

if __name__ == "__main__":
    listed = json.load(sys.stdin)
    told = [(entry["id"], f"{entry['id']} {entry.get('words', '')}".lower()) for entry in listed]
    coils = [name for name, words in told if "coil" in words and "open" in words]
    contactors = [name for name in coils if "KM1" in name]
    if not contactors:
        sys.exit(f"no open coil of KM1 among {len(listed)} faults; open coils: {coils}; first ids: {told[:5]}")
    print(contactors[0])
