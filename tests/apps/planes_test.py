#!/usr/bin/env python3
"""Planes that the program finds by itself: listed, drawn, and measured from. planes_test.py PLATEWRIGHT"""
import json
import os
import pathlib
import random
import shutil
import struct
import subprocess
import sys
import tempfile
import unittest
import zlib

PROGRAM = os.path.abspath(sys.argv.pop(1))
WIDTH, HEIGHT, FRAMES = 224, 168, 6


def png(width, height, value):
    """A grey picture; value(x, y) is 0 to 255."""
    rows = b"".join(b"\0" + bytes(value(x, y) for x in range(width)) for y in range(height))
    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
            + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b""))


def wall():
    """Soft blobs, larger than the frame: where the camera looks is cut out of it."""
    rng = random.Random(7)
    width, height = WIDTH + 40, HEIGHT + 40
    grid = [[rng.randrange(30, 220) for _ in range(width // 6 + 2)] for _ in range(height // 6 + 2)]
    def value(x, y):
        i, j, u, v = x // 6, y // 6, x % 6 / 6, y % 6 / 6
        u, v = u * u * (3 - 2 * u), v * v * (3 - 2 * v)
        return int((1 - v) * ((1 - u) * grid[j][i] + u * grid[j][i + 1]) + v * ((1 - u) * grid[j + 1][i] + u * grid[j + 1][i + 1]))
    return [[value(x, y) for x in range(width)] for y in range(height)]


class Planes(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = pathlib.Path(tempfile.mkdtemp(prefix="pw-planes-"))
        (cls.folder / "in").mkdir()
        seen = wall()
        for f in range(1, FRAMES + 1):  # The left quarter is sky.
            picture = png(WIDTH, HEIGHT, lambda x, y: 90 if x < WIDTH // 4 else seen[y + 2 * f][x + 3 * f])
            (cls.folder / f"in/a.{f:04d}.png").write_bytes(picture)

    @classmethod
    def tearDownClass(cls):
        shutil.rmtree(cls.folder, ignore_errors=True)

    def run_it(self, *words):
        done = subprocess.run([PROGRAM, *words], cwd=self.folder, capture_output=True, text=True, timeout=300)
        self.assertEqual(done.returncode, 0, done.stderr)
        return done

    def shot(self, more):
        (self.folder / "quay.toml").write_text('shot = { like = "plate" }\nplate = { kind = "footage", file = "in/a.####.png" }\n'
                                               f'[wall]\nkind = "plane"\nimage = "plate"\n{more}\n')

    def track(self, *words):
        self.run_it("measure", "quay.toml", "wall", "--out", "wall.json", "--again", *words)
        return json.loads((self.folder / "wall.json").read_text())

    def test_listed_with_what_to_paste(self):
        done = self.run_it("probe", "in/a.####.png", "--planes", "--out", "planes.png")
        lines = [l for l in done.stdout.splitlines() if l.startswith(("reference = ", "region = "))]
        self.assertEqual(len(lines), 2, done.stdout)
        self.assertIn("on 6 of 6 frames", done.stdout)
        size = struct.unpack(">II", (self.folder / "planes.png").read_bytes()[16:24])
        self.assertEqual(size, (640 + 320 + 12, 480 + 12))
        self.shot("\n".join(lines))
        track = self.track()
        for f in track["frames"]:
            self.assertEqual(f["status"], "good", f)
            h, by = f["frame_from_ref"], track["reference"] - f["frame"]
            for x, y in track["region"]:
                self.assertGreater(x, WIDTH / 4 - 14)
                w = h[2][0] * x + h[2][1] * y + 1
                self.assertAlmostEqual((h[0][0] * x + h[0][1] * y + h[0][2]) / w, x + 3 * by, delta=0.1)
                self.assertAlmostEqual((h[1][0] * x + h[1][1] * y + h[1][2]) / w, y + 2 * by, delta=0.1)

    def test_automatic_reference_is_the_first_of_the_list(self):
        best = json.loads(self.run_it("probe", "in/a.####.png", "--planes", "--json").stdout)[0]
        self.assertGreater(best["visible"], 0.9)
        self.shot('reference = "auto"')
        said = self.run_it("measure", "quay.toml", "wall", "--again").stderr
        self.assertIn(f'chosen: reference = {best["reference"]}, region = [[', said)
        self.assertEqual(self.run_it("measure", "quay.toml", "wall").stderr, said, "it is said of a stored one, too")
        track = self.track("--threads", "1")
        self.assertEqual((track["reference"], track["region"]), (best["reference"], best["region"]))
        self.assertIn(best["reason"], track["chosen"])
        self.assertEqual(self.track("--threads", "2"), track)

    def test_looks_where_the_region_is_drawn(self):
        self.shot('reference = "auto"\nregion = [[120, 20], [220, 20], [220, 150], [120, 150]]')
        track = self.track()
        by = track["reference"] - 1
        for x, y in track["region"]:
            self.assertGreater(x + 3 * by, 120 - 14)
            self.assertGreater(y + 2 * by, 20 - 14)
            self.assertLess(y + 2 * by, 150 + 14)


if __name__ == "__main__":
    unittest.main()
