#!/usr/bin/env python3
"""Holds the sources to the rooms: who may include whom, and which room alone may include a library. includes.py ROOT"""
import pathlib
import re
import sys

ROOMS = {  # room: rooms it may include besides itself
    "base": [],
    "warp": ["base"],
    "track": ["base", "warp"],
    "comp/spec": ["base"],
    "comp/graph": ["base", "comp/spec"],
    "comp/media": ["base", "comp/colour"],
    "comp/matte": ["base"],
    "comp/colour": ["base"],
    "comp/repair": ["base", "warp", "track"],
    "comp/weather": ["base"],
    "comp/kinds": ["base", "warp", "track", "comp/spec", "comp/media", "comp/matte", "comp/colour", "comp/repair",
                   "comp/weather"],
    "apps": ["base", "warp", "track", "comp/spec", "comp/graph", "comp/media", "comp/matte", "comp/colour", "comp/repair",
             "comp/kinds"],
    "fixtures/stage": [],
}
ONLY = {  # library: rooms that may include it; a header that does must not leave its room
    r"OpenImageIO/": ["comp/media", "fixtures/stage"],
    r"OpenColorIO/": ["comp/colour"],
    r"libav\w+/": ["comp/media"],
    r"opencv2/": ["track"],
    r"toml\+\+/": ["comp/graph"],
    r"CLI/": ["apps"],
    r"pugixml": ["comp/matte", "comp/colour"],
    r"tbb/": ["base"],
}

root = pathlib.Path(sys.argv[1])
faults, heavy, included = [], [], []
for room, may in ROOMS.items():
    files = [f for f in sorted((root / room).rglob("*")) if f.suffix in (".h", ".cpp")]
    for f in files:
        for number, line in enumerate(f.read_text().splitlines(), 1):
            m = re.match(r'\s*#\s*include\s+[<"]([^>"]+)[>"]', line)
            if not m:
                continue
            name, where = m.group(1), f"{f.relative_to(root)}:{number}"
            for library, rooms in ONLY.items():
                if re.match(library, name):
                    if room not in rooms:
                        faults.append(f"{where}: {room} may not include {name}")
                    elif f.suffix == ".h":
                        heavy.append(str(f.relative_to(root)))
            included.append((room, name, where))
            target = next((r for r in ROOMS if name.startswith(r + "/")), None)
            if target and target != room and target not in may:
                faults.append(f"{where}: {room} may not include {target}")
            if name.startswith("fixtures/") and room != "fixtures/stage":
                faults.append(f"{where}: the stage is for tests and the demo")
for room, name, where in included:
    if name in heavy and not name.startswith(room + "/"):
        faults.append(f"{where}: {name} includes a library of its own room")
print("\n".join(faults))
sys.exit(bool(faults))
