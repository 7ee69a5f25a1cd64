"""A small shot that moves, and the program run on it: what the tests of batches share."""
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))


def moving_outline(width, height, frames):
    """A shot file up to its deliveries: `lit` is a moving outline through a layer."""
    return f"""shot = {{ size = [{width}, {height}], frames = [1, {frames}] }}
ground = {{ kind = "colour", value = [0.1, 0.2, 0.3] }}
lamp = {{ kind = "colour", value = [4, 3, 2] }}
shape = {{ kind = "outline", keys = {{ 1 = "M 20 20 H 120 V 140 H 20 Z", {frames} = "M 180 30 H 300 V 90 H 180 Z" }}, feather_px = 9 }}
lit = {{ kind = "layer", back = "ground", front = "lamp", mask = "shape" }}
"""


class Quay(unittest.TestCase):
    """A folder of its own for every test, with quay.toml in it."""

    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="pw-quay-"))

    def tearDown(self):
        shutil.rmtree(self.folder, ignore_errors=True)

    def shot(self, text):
        (self.folder / "quay.toml").write_text(text)

    def start(self, *words, shot="quay.toml", before=(), **more):
        return subprocess.Popen([*before, PROGRAM, "render", shot, *words], cwd=self.folder, stdout=subprocess.PIPE,
                                stderr=subprocess.PIPE, text=True, **more)

    def run_it(self, *words, status=0, **more):
        process = self.start(*words, **more)
        out, err = process.communicate(timeout=120)
        self.assertEqual(process.returncode, status, out + err)
        return out, err
