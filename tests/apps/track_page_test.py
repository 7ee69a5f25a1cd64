#!/usr/bin/env python3
"""The page of how planes were followed: sound, whole, and such that a wrong track is seen. track_page_test.py PLATEWRIGHT"""
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import unittest
import xml.etree.ElementTree as ElementTree

PROGRAM = os.path.abspath(sys.argv.pop(1))
FRAMES, STEP = 6, 2


def key(frame):
    x = 20 + STEP * (frame - 1)
    return f'{frame} = "M {x} 12 H {x + 30} V 40 H {x} Z M {x + 8} 18 H {x + 14} V 30 H {x + 8} Z"'


DRAW = f"""shot = {{ size = [80, 48], frames = [1, {FRAMES}], shutter_deg = 0 }}
wall = {{ kind = "colour", value = [0.05, 0.08, 0.2] }}
lamp = {{ kind = "colour", value = [0.7, 0.6, 0.3] }}
sign = {{ kind = "outline", keys = {{ {", ".join(key(f) for f in range(1, FRAMES + 1))} }} }}
both = {{ kind = "layer", back = "wall", front = "lamp", mask = "sign" }}
out = {{ kind = "deliver", image = "both", file = "in/a.####.png" }}
"""
SHOT = """shot = { like = "plate", shutter_deg = 0 }
plate = { kind = "footage", file = "in/a.####.png" }
sign = { kind = "plane", image = "plate", file = "sign.json" }
"""


class TrackPage(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.drawn = pathlib.Path(tempfile.mkdtemp(prefix="pw-page-drawn-"))
        (cls.drawn / "draw.toml").write_text(DRAW)
        subprocess.run([PROGRAM, "render", "draw.toml"], cwd=cls.drawn, check=True, capture_output=True)

    @classmethod
    def tearDownClass(cls):
        shutil.rmtree(cls.drawn, ignore_errors=True)

    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="pw-page-"))
        shutil.copytree(self.drawn / "in", self.folder / "in")
        self.track("sign.json")

    def tearDown(self):
        shutil.rmtree(self.folder, ignore_errors=True)

    def track(self, name, off=None, lost=None, reference=1):
        """Where the sign is; `off`: a frame on which it is said to be 3 px elsewhere; `lost`: one that is not known."""
        left = 20 + STEP * (reference - 1)
        frames = []
        for f in range(1, FRAMES + 1):
            x = STEP * (f - reference) + (3 if f == off else 0)
            frames.append({"frame": f, "frame_from_ref": [[1, 0, x], [0, 1, 0], [0, 0, 1]], "residual": 0.01,
                           "status": "lost" if f == lost else "good"})
            if f == lost:
                frames[-1]["reason"] = "a goose & its <shadow>"
        (self.folder / name).write_text(json.dumps(
            {"format": "platewright-track", "version": 1, "size": [80, 48], "reference": reference,
             "region": [[left, 12], [left + 30, 12], [left + 30, 40], [left, 40]], "frames": frames}))

    def measure(self, *words, shot=SHOT, file="page.html"):
        (self.folder / "quay.toml").write_text(shot)
        return subprocess.run([PROGRAM, "measure", "quay.toml", *words, "--report", file], cwd=self.folder,
                              capture_output=True, text=True, timeout=120)

    def page(self, *words, shot=SHOT, status=0):
        done = self.measure(*words, shot=shot)
        self.assertEqual(done.returncode, status, done.stdout + done.stderr)
        self.assertEqual(done.stdout.splitlines()[-1], "page.html")
        text = (self.folder / "page.html").read_text()
        self.assertTrue(text.startswith("<!DOCTYPE html>\n"))
        root = ElementTree.fromstring(text.split("\n", 1)[1])  # The page is well-formed as XML too.
        for element in root.iter():
            for attribute in ("src", "href"):
                self.assertRegex(element.get(attribute, "#"), "^(#|data:image/jpeg;base64,/9j/)", element.tag)
            self.assertNotIn(element.tag, ("script", "link", "iframe"))
            if element.tag == "img":
                self.assertTrue(element.get("alt"))
        ids = [e.get("id") for e in root.iter() if e.get("id")]
        self.assertEqual(len(ids), len(set(ids)))
        return text, root

    def held(self, root, track=1):
        """Per frame the pictures of the strip: the region held still, and its difference from the reference."""
        found = {}
        for figure in root.iter("figure"):
            at = re.fullmatch(rf"held-{track}-(\d+)", figure.get("id", ""))
            if at:
                found[int(at[1])] = [img.get("src") for img in figure.iter("img")]
        return found

    def test_a_right_track_holds_the_region_still(self):
        text, root = self.page()
        held = self.held(root)
        self.assertEqual(sorted(held), list(range(1, FRAMES + 1)))
        self.assertEqual(len({pictures[0] for pictures in held.values()}), 1)
        self.assertEqual(len({pictures[1] for f, pictures in held.items() if f != 1}), 1)
        self.assertIn("every frame is good", text)

    def test_a_wrong_track_is_seen_whatever_it_says(self):
        self.track("sign.json", off=4)
        text, root = self.page()
        held = self.held(root)
        for which in (0, 1):
            self.assertEqual(len({pictures[which] for f, pictures in held.items() if f not in (1, 4)}), 1)
            self.assertNotEqual(held[4][which], held[3][which])

    def test_lost_frames_are_told_with_their_reason(self):
        self.track("sign.json", lost=3)
        text, root = self.page()
        self.assertEqual(self.held(root)[3], [])
        self.assertIn("<td>lost</td><td>a goose &amp; its &lt;shadow&gt;</td>", text)

    def test_several_planes_stand_on_one_page(self):
        self.track("other.json", off=2, reference=4)
        shot = SHOT + 'other = { kind = "plane", file = "other.json" }\n'
        text, root = self.page(shot=shot)
        for track in (1, 2):  # Frames before a reference are compared with it as well.
            self.assertEqual([len(pictures) for pictures in self.held(root, track).values()], FRAMES * [2])
        self.assertIn("<th>sign: status</th>", text)
        self.assertIn("<th>other: status</th>", text)
        self.assertIn("Frame 2 of plate; sign: good, other: good", text)
        only, _ = self.page("other", shot=shot)
        self.assertNotIn("sign: status", only)

    def test_the_same_for_any_number_of_threads(self):
        self.assertEqual(self.page("--threads", "1")[0], self.page("--threads", "2", "--again")[0])

    def test_a_frame_that_cannot_be_read(self):
        (self.folder / "in/a.0004.png").write_bytes(b"")
        text, root = self.page(status=1)
        self.assertEqual(self.held(root)[4], [])
        self.assertIn("there is no picture of this frame", text)

    def test_a_track_of_other_frames(self):
        """What a track knows beyond the shot is no part of the page; of a track that knows nothing else there is none."""
        track = json.loads((self.folder / "sign.json").read_text())
        shot = SHOT.replace("shutter_deg = 0", "shutter_deg = 0, frames = [2, 4]")
        _, root = self.page(shot=shot)
        self.assertEqual(sorted(self.held(root)), [2, 3, 4])
        for frame in track["frames"]:
            frame["frame"] += 9000000
        (self.folder / "sign.json").write_text(json.dumps(track))
        done = self.measure(shot=SHOT)
        self.assertEqual((done.returncode, done.stderr),
                         (2, "sign.json: this track has the frames 9000001 to 9000006, the shot has 1 to 6; use the track of "
                             "these frames, or measure again\n"))

    def test_messages(self):
        for words, shot, message in (
                (("plate",), SHOT, "quay.toml: plate is no plane, and a report shows planes; name planes only, or no node "
                                   "for all planes of the shot\n"),
                (("sigm",), SHOT, 'quay.toml: the shot has no node "sigm"; did you mean sign?\n'),
                ((), SHOT.splitlines()[0] + "\n" + SHOT.splitlines()[1] + "\n",
                 "quay.toml: the shot has no plane to report on; add one: see platewright kinds plane\n"),
                ((), 'shot = { size = [80, 48], frames = [1, 6] }\nsign = { kind = "plane", file = "sign.json" }\n',
                 'quay.toml: sign has no image to be shown on; give it one, sign.image = "NODE", or let the shot be like '
                 'its footage\n')):
            done = self.measure(*words, shot=shot)
            self.assertEqual((done.returncode, done.stderr), (2, message))
        done = self.measure(file="page.htm")
        self.assertEqual((done.returncode, done.stderr), (2, "page.htm: a report is written as .html; give --report this ending\n"))
        done = self.measure(file="nowhere/page.html")
        self.assertEqual(done.returncode, 2)
        self.assertRegex(done.stderr, r"^nowhere/page\.html: .*; .*\n$")
        (self.folder / "folder.html").mkdir()
        done = self.measure(file="folder.html")
        self.assertEqual(done.returncode, 2)
        self.assertRegex(done.stderr, r"^folder\.html: .*\n$")
        self.assertFalse((self.folder / "page.html").exists())
        self.assertFalse((self.folder / "quay.measured").exists(), "nothing was measured in vain")


if __name__ == "__main__":
    unittest.main()
