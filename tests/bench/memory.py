#!/usr/bin/env python3
"""A long shot needs no more memory than a short one: the same work on 48 and on 480 frames, the largest resident set of
each, with so little memory allowed that the frames of neither fit in. memory.py PLATEWRIGHT"""
import os
import pathlib
import subprocess
import sys
import tempfile

import cv2
import numpy as np

SHORT, LONG = 48, 480
WIDTH, HEIGHT = 320, 180
MEMORY = "128M"
PICTURE = "/usr/share/doc/opencv-doc/examples/data/graf1.png"

# All that looks at every frame, and all that a frame goes through.
SHOT = f"""shot = {{ like = "plate", rate = "24/1" }}
plate = {{ kind = "footage", file = "PLATE", encoding = "srgb" }}
wall = {{ kind = "plane", image = "plate", reference = 20, region = [[40, 40], [280, 40], [280, 140], [40, 140]] }}
thing = {{ kind = "outline", keys = {{ 1 = "M 130 60 H 170 V 110 H 130 Z", {SHORT} = "M 150 50 H 200 V 100 H 150 Z" }} }}
empty = {{ kind = "still", image = "plate", frames = [3, 20, 40], motion = "wall", merge = "median" }}
film = {{ kind = "noise", image = "plate", motion = "wall", ignore = ["thing"] }}
bare = {{ kind = "degrain", image = "empty", noise = "film" }}
pinned = {{ kind = "pin", image = "bare", motion = "wall" }}
sun = {{ kind = "light", image = "plate", still = "pinned", motion = "wall", ignore = ["thing"] }}
lit = {{ kind = "relit", image = "pinned", light = "sun" }}
grained = {{ kind = "grain", image = "lit", noise = "film" }}
rebuilt = {{ kind = "layer", back = "plate", front = "grained", mask = "thing" }}
out = {{ kind = "deliver", image = "rebuilt", file = "out/f.####.png", encoding = "srgb" }}
movie = {{ kind = "deliver", image = "rebuilt", file = "out.mov" }}
"""


def draw(folder, frames):
    """A wall seen by a camera that sways, its light wavering, with grain."""
    wall = cv2.imread(PICTURE)
    if wall is None:
        sys.exit(f"{PICTURE} cannot be read; install opencv-doc")
    wall = wall.astype(np.float32)
    random = np.random.default_rng(1)
    for f in range(1, frames + 1):
        x, y = 120 + 40 * np.sin(f / 11), 150 + 30 * np.sin(f / 17)
        view = cv2.warpAffine(wall, np.float64([[1, 0, -x], [0, 1, -y]]), (WIDTH, HEIGHT), flags=cv2.INTER_CUBIC)
        view = view * (0.9 + 0.1 * np.sin(f / 7)) + random.normal(0, 2, view.shape)
        assert cv2.imwrite(str(folder / f"f.{f:04d}.png"), np.clip(np.round(view), 0, 255).astype(np.uint8))


def largest(program, folder, frames):
    """The largest resident set of measuring and rendering `frames` frames, MB."""
    shot = SHOT.replace("PLATE", "plate/f.####.png").replace('like = "plate"', f"size = [{WIDTH}, {HEIGHT}], frames = [1, {frames}]")
    (folder / f"wall{frames}.toml").write_text(shot.replace('file = "out', f'file = "out{frames}'))
    with open(folder / "log", "w") as log:
        process = subprocess.Popen([program, "render", folder / f"wall{frames}.toml", "--threads", "2", "--memory", MEMORY], stdout=log, stderr=log)
        _, status, usage = os.wait4(process.pid, 0)
    if status != 0:
        sys.exit(f"{frames} frames: status {status}\n{(folder / 'log').read_text()}")
    assert len(list((folder / f"out{frames}").glob("f.*.png"))) == frames
    return usage.ru_maxrss / 1024


def main(program):
    with tempfile.TemporaryDirectory(prefix="pw-memory-") as name:
        folder = pathlib.Path(name)
        (folder / "plate").mkdir()
        draw(folder / "plate", LONG)
        short, long = (largest(program, folder, n) for n in (SHORT, LONG))
    print(f"largest resident set: {short:.0f} MB for {SHORT} frames, {long:.0f} MB for {LONG}, {long / short:.2f} times")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(os.path.abspath(sys.argv[1]))
