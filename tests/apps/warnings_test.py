#!/usr/bin/env python3
"""What reading pictures warns of reaches the person, once for each node. warnings_test.py PLATEWRIGHT"""
import math
import os
import pathlib
import shutil
import struct
import subprocess
import sys
import tempfile
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
WIDTH, HEIGHT = 64, 48
P3 = (0.68, 0.32, 0.265, 0.69, 0.15, 0.06, 0.3127, 0.329)  # SMPTE RP 431-2's primaries, D65.
BT709 = (0.64, 0.33, 0.30, 0.60, 0.15, 0.06, 0.3127, 0.329)
PLATE = 'plate = { kind = "footage", file = "in/a.####.exr" }\n'
OUT = 'out = { kind = "deliver", image = "plate", file = "out/o.####.png" }\n'
NOT_FINITE = "2 values are not finite numbers; they are read as 0 or 65504"
RENDER_AGAIN = "; render it again if that shows\n"
COLOURS = (": warning: the picture says that its primaries or its white are others than BT.709's, which is not heeded; "
           "convert it to linear BT.709 if its colours look wrong\n")


def exr(path, odd=(), chromaticities=None):
    """Uncompressed floats, as https://openexr.com/en/latest/OpenEXRFileLayout.html has it: some texture, `odd` first."""
    def attribute(name, kind, value):
        return name.encode() + b"\0" + kind.encode() + b"\0" + struct.pack("<i", len(value)) + value
    window = struct.pack("<4i", 0, 0, WIDTH - 1, HEIGHT - 1)
    channels = b"".join(c + b"\0" + struct.pack("<4i", 2, 0, 1, 1) for c in (b"B", b"G", b"R")) + b"\0"
    head = struct.pack("<2i", 20000630, 2) + attribute("channels", "chlist", channels)
    if chromaticities:
        head += attribute("chromaticities", "chromaticities", struct.pack("<8f", *chromaticities))
    head += attribute("compression", "compression", b"\0") + attribute("dataWindow", "box2i", window)
    head += attribute("displayWindow", "box2i", window) + attribute("lineOrder", "lineOrder", b"\0")
    head += attribute("pixelAspectRatio", "float", struct.pack("<f", 1))
    head += attribute("screenWindowCenter", "v2f", struct.pack("<2f", 0, 0))
    head += attribute("screenWindowWidth", "float", struct.pack("<f", 1)) + b"\0"
    line = 12 * WIDTH
    body = b""
    for y in range(HEIGHT):
        values = [0.3 + 0.2 * math.sin(0.9 * x + 1.3 * y) * math.cos(0.37 * x * y) for x in range(WIDTH)] * 3
        if y == 0:
            values[:len(odd)] = odd
        body += struct.pack("<2i", y, line) + struct.pack(f"<{3 * WIDTH}f", *values)
    first = len(head) + 8 * HEIGHT
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(head + struct.pack(f"<{HEIGHT}Q", *(first + y * (line + 8) for y in range(HEIGHT))) + body)


class Warnings(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="pw-warnings-"))

    def tearDown(self):
        shutil.rmtree(self.folder, ignore_errors=True)

    def sequence(self, odd_frames=(), chromaticities=None):
        for f in range(1, 5):
            exr(self.folder / f"in/a.{f:04}.exr", (math.nan, math.inf) if f in odd_frames else (), chromaticities)

    def says(self, command, shot, warnings, *words, status=0):
        """Compares standard error without the lines that tell what was measured."""
        (self.folder / "quay.toml").write_text(shot)
        done = subprocess.run([PROGRAM, command, "quay.toml", *words], cwd=self.folder, capture_output=True, text=True,
                              timeout=120)
        self.assertEqual("".join(l for l in done.stderr.splitlines(True) if not l.startswith(("flat:", "photo:"))), warnings)
        self.assertEqual(done.returncode, status, done.stderr)

    def test_the_same_in_many_frames_is_one_line(self):
        self.sequence(odd_frames=(2, 3, 4))
        told = "".join(f"in/a.0002.exr: warning: frame 2: {NOT_FINITE} ({node} has 2 more frames like this){RENDER_AGAIN}"
                       for node in ("plate", "again"))
        shot = 'shot = { like = "plate" }\n' + PLATE + 'again = { kind = "footage", file = "in/a.####.exr" }\n' + OUT + \
            'twice = { kind = "deliver", image = "again", file = "out/t.####.png" }\n'
        self.says("render", shot, told, "--threads", "2")
        self.says("check", shot, "")  # Looks at no pixels.

    def test_what_is_measured_and_drawn_is_told_once(self):
        self.sequence(odd_frames=(3,))
        shot = (PLATE + 'flat = { kind = "plane", image = "plate", region = [[5, 5], [60, 5], [60, 40], [5, 40]] }\n'
                'photo = { kind = "still", image = "plate", frames = 1 }\n'
                'moved = { kind = "pin", image = "photo", motion = "flat" }\n' + OUT +
                'other = { kind = "deliver", image = "moved", file = "out/m.####.png" }\n')
        told = f"in/a.0003.exr: warning: frame 3: {NOT_FINITE}{RENDER_AGAIN}"
        self.says("render", shot, told)
        self.says("measure", shot, told, "flat", "--again")

    def test_colours_that_are_not_heeded(self):
        self.sequence(chromaticities=P3)
        exr(self.folder / "photo.exr", chromaticities=P3)
        shot = PLATE + 'photo = { kind = "still", file = "photo.exr" }\n' + OUT
        told = f"in/a.0001.exr{COLOURS}photo.exr{COLOURS}"
        for command in ("check", "render", "measure"):
            self.says(command, shot, told)
        self.says("render", PLATE + OUT, f"in/a.0001.exr{COLOURS}nothing is drawn, because with --strict a warning ends "
                  "the run\n", "--strict", status=2)
        self.sequence(chromaticities=BT709)
        self.says("check", PLATE + OUT, "")

    def test_a_still_from_a_file(self):
        self.sequence()
        exr(self.folder / "photo.exr", (math.nan, -math.inf))
        shot = PLATE + 'photo = { kind = "still", file = "photo.exr" }\n' + \
            'out = { kind = "deliver", image = "photo", file = "out/o.####.png" }\n'
        told = f"photo.exr: warning: {NOT_FINITE}{RENDER_AGAIN}"
        self.says("render", shot, told)
        self.says("measure", shot, told)

    def test_strict(self):
        self.sequence(odd_frames=(2, 4))
        self.says("render", PLATE + OUT, f"in/a.0002.exr: warning: frame 2: {NOT_FINITE}{RENDER_AGAIN}", "--strict",
                  "--threads", "1", status=1)
        self.assertEqual(sorted(p.name for p in (self.folder / "out").iterdir()), ["o.0001.png", "o.0002.png"])


if __name__ == "__main__":
    unittest.main(verbosity=2)
