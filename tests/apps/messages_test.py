#!/usr/bin/env python3
"""What the command says to bad input, compared whole: standard error, exit status, and that nothing was left behind.
messages_test.py PLATEWRIGHT"""
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
PLATE = 'plate = { kind = "footage", file = "in/a.####.png" }\n'
OUT = 'out = { kind = "deliver", image = "plate", file = "out/o.####.png" }\n'


class Messages(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="pw-messages-"))
        self.draw("in/a.####.png", 64, 48, 5)

    def tearDown(self):
        shutil.rmtree(self.folder, ignore_errors=True)

    drawn = {}  # What the command wrote, by what it was asked for: it is slow to start.

    def draw(self, pattern, width, height, frames, colour=(0.2, 0.4, 0.1)):
        """Frames of one colour, made by the command itself."""
        shot = (f'shot = {{ size = [{width}, {height}], frames = [1, {frames}] }}\n'
                f'c = {{ kind = "colour", value = {list(colour)} }}\n'
                f'o = {{ kind = "deliver", image = "c", file = "{pattern}" }}\n')
        (self.folder / "make.toml").write_text(shot)
        (self.folder / pattern).parent.mkdir(exist_ok=True)
        if shot not in self.drawn:
            done = self.run_it("render", "make.toml")
            self.assertEqual(done.returncode, 0, done.stderr)
            name = re.compile(re.sub("#+", r"\\d+", (self.folder / pattern).name.replace(".", r"\.")))
            self.drawn[shot] = {p.relative_to(self.folder): p.read_bytes()
                                for p in (self.folder / pattern).parent.iterdir() if name.fullmatch(p.name)}
        for path, content in self.drawn[shot].items():
            (self.folder / path).write_bytes(content)

    def run_it(self, *words, **more):
        return subprocess.run([PROGRAM, *words], cwd=self.folder, capture_output=True, text=True, timeout=120, **more)

    def says(self, shot, message, status=2, command="render", extra=()):
        (self.folder / "quay.toml").write_text(shot)
        done = self.run_it(command, "quay.toml", *extra)
        self.assertEqual(done.stderr, message)
        self.assertEqual(done.returncode, status)
        if status == 2:
            self.assertFalse((self.folder / "out").exists(), "a refused shot leaves nothing")
        return done

    def test_unknown_kind(self):
        self.says(PLATE + 'x = { kind = "plnae", image = "plate" }\n' + OUT,
                  'quay.toml:2:14: x: there is no kind "plnae"; did you mean plane?\n')

    def test_word_of_the_trade(self):
        self.says(PLATE + 'x = { kind = "roto" }\n' + OUT,
                  'quay.toml:2:14: x: there is no kind "roto"; outline does this: The matte of something outlined by hand on a few frames.\n')

    def test_misspelt_parameter(self):
        self.says('plate = { kind = "footage", flie = "in/a.####.png" }\n' + OUT,
                  'quay.toml:1:1: plate has no file; a footage needs it: file = "plate.####.png"\n'
                  'quay.toml:1:29: plate (footage) has no "flie"; did you mean file?\n')

    def test_wrong_value_type(self):
        self.says(PLATE + 'w = { kind = "plane", image = "plate", region = "left" }\n' + OUT,
                  'quay.toml:2:49: w.region is a text in quotes; it takes a list of points, as in [[0, 0], [90, 0], [90, 60], [0, 60]]\n')

    def test_automatic_reference(self):
        for words, column, text in (
                ('reference = "first"', 52, 'w.reference is a text in quotes; it takes a whole number, or "auto"'),
                ("reference = 1.5", 52, 'w.reference is a number; it takes a whole number, or "auto"'),
                ("reference = 10000000", 52, "w.reference is 10000000 frames; it may be -9999999 to 9999999 frames"),
                ('reference = "auto", file = "w.json"', 52, 'w.reference is "auto", but file is used instead of measuring; '
                 "name the frame whose corners are the region"),
                ('reference = "auto", fixed_file = "w.csv"', 73, 'w.fixed_file corrects corners of a region that is drawn, but '
                 'reference is "auto"; measure first, then write the reference and the region that were chosen')):
            self.says(PLATE + f'w = {{ kind = "plane", image = "plate", {words} }}\n' + OUT, f"quay.toml:2:{column}: {text}\n")

    def test_nothing_to_follow(self):
        self.says(PLATE + 'w = { kind = "plane", image = "plate", reference = "auto" }\n' + OUT,
                  "quay.toml:2:1: no plane was found that can be followed; draw a region over something flat and "
                  "textured, and name its frame as reference\n", command="measure")
        done = self.run_it("probe", "in/a.####.png", "--planes")
        self.assertEqual((done.stdout, done.stderr, done.returncode),
                         ("no plane was found that can be followed: nothing flat and textured is seen for long\n", "", 0))
        done = self.run_it("probe", "in/a.####.png", "--planes", "--out", "planes.jpg")
        self.assertEqual((done.stderr, done.returncode),
                         ("planes.jpg: the pictures of the planes are one page, a .png; as in planes.png\n", 2))

    def test_wrong_flow(self):
        self.says(PLATE + 'l = { kind = "layer", back = "plate", front = "plate", mask = "plate" }\n' + OUT,
                  'quay.toml:2:63: l.mask takes a matte, but plate gives a picture; what gives a matte: outline, mattes, edge\n')

    def test_cycle(self):
        self.says(PLATE + 'f = { kind = "plane", image = "plate", region = [[9, 9], [40, 9], [40, 40], [9, 40]], ignore = ["d"] }\n'
                  'd = { kind = "outline", motion = "f", keys = { 1 = "M 1 1 H 9 V 9 Z" } }\n' + OUT,
                  'quay.toml:2:96: f needs itself: f.ignore -> d.motion -> f; track a rough plane first without ignore, let the '
                  'outline d follow that one, then track the fine plane that ignores the outline\n')

    PLANE = 'f = { kind = "plane", image = "plate", region = [[9, 9], [40, 9], [40, 40], [9, 40]]%s }\n'

    def test_cycle_by_several_nodes(self):
        self.says(PLATE + self.PLANE % ', ignore = ["e"]' + 'e = { kind = "edge", matte = "m" }\n'
                  'm = { kind = "mattes", add = ["d"] }\n'
                  'd = { kind = "outline", motion = "f", keys = { 1 = "M 1 1 H 9 V 9 Z" } }\n' + OUT,
                  'quay.toml:2:96: f needs itself: f.ignore -> e.matte -> m.add -> d.motion -> f; track a rough plane first '
                  'without ignore, let the outline d follow that one, then track the fine plane that ignores the outline\n')

    def test_cycle_through_the_picture(self):
        self.says(PLATE + 'f = { kind = "plane", image = "held", region = [[9, 9], [40, 9], [40, 40], [9, 40]] }\n'
                  'held = { kind = "stabilise", image = "plate", motion = "f" }\n' + OUT,
                  'quay.toml:2:31: f needs itself: f.image -> held.motion -> f; take one of these connections out\n')

    def test_region_wholly_ignored(self):
        self.says(PLATE + self.PLANE % ', ignore = ["d"]' + 'd = { kind = "outline", keys = { 1 = "M 0 0 H 64 V 48 H 0 Z" } }\n',
                  'quay.toml:2:1: all of the region is ignored in the reference frame; ignore less, or choose another reference\n',
                  command="measure")

    def test_reference_that_is_missing(self):
        os.remove(self.folder / "in/a.0003.png")
        self.says(PLATE + self.PLANE % ', reference = 3',
                  'in/a.0003.png: frame 3: the frame is missing; find the file, or let the footage hold the last frame: '
                  'missing = "hold"; or give the plane another reference frame\n', command="measure")
        self.says(PLATE + self.PLANE % ', reference = 13',
                  'quay.toml:2:99: f.reference is frame 13, which the shot does not have; it has frames 1 to 5\n')

    def track(self, name, size, frames):
        region = [[9, 9], [40, 9], [40, 40], [9, 40]]
        poses = [{"frame": f, "frame_from_ref": [[1, 0, 0], [0, 1, 0], [0, 0, 1]], "status": "good"} for f in frames]
        (self.folder / name).write_text(json.dumps(
            {"format": "platewright-track", "version": 1, "size": size, "reference": frames[0], "region": region, "frames": poses}))

    def test_track_of_another_plate(self):
        shot = PLATE + 'f = { kind = "plane", file = "f.json" }\n' + OUT
        self.track("f.json", [128, 96], range(1, 6))
        for command in ("check", "render"):
            self.says(shot, "f.json: this track is of a plate of 128x96, the shot is 64x48; use the track of this plate, or "
                      "measure again\n", command=command)
        self.track("f.json", [64, 48], range(101, 106))
        self.says(shot, "f.json: this track has the frames 101 to 105, the shot has 1 to 5; use the track of these frames, or "
                  "measure again\n", command="check")
        self.track("f.json", [64, 48], range(1, 4))
        self.says(shot, "f.json: warning: this track does not have 2 of the shot's frames, the first is 4; measure again; a "
                  "track of another rate has other frames\n", command="measure", status=0)
        (self.folder / "f.csv").write_text("1,90,9,140,9,140,40,90,40\n")
        self.says(shot.replace("f.json", "f.csv"), "f.csv: the region lies outside the plate, which is 64x48; use the track of "
                  "this plate, or measure again\n", command="check")

    def test_corrections_that_contradict(self):
        shot = PLATE + self.PLANE % ', fixed_file = "fixed.csv"' + OUT
        self.says(shot, "fixed.csv: there is no such file; check the name\n", command="check")
        (self.folder / "fixed.csv").write_text(
            "frame,x0,y0,x1,y1,x2,y2,x3,y3,status\n2,9,9,40,40,40,9,9,40,good\n9,9,9,40,9,40,40,9,40\n"
            "3,9,9,41,9,41,40,9,40\n3,9,9,42,9,42,40,9,40\n1,9,9,42,9,42,40,9,40\n")
        for command in ("check", "render"):
            self.says(shot, "fixed.csv:2: no camera sees the region with its corners as they are fixed on frame 2; give them in the "
                      "region's order, the same way round\n"
                      "fixed.csv:3: corners are fixed on frame 9, which is not among the frames 1 to 5; take this frame out\n"
                      "fixed.csv:5: corners are fixed on frame 3 twice, in line 4 too; keep one of them\n"
                      "fixed.csv:6: the corners fixed on frame 1, the reference, are not those of the region; correct the region "
                      "itself\n", command=command)
        (self.folder / "fixed.csv").write_text("3,,,,,,,,,lost\n")
        self.says(shot, "fixed.csv:1: frame 3 has no corners; give them, or take its row out\n", command="check")
        self.says(PLATE + self.PLANE % ', readout = 0.5, fixed_file = "fixed.csv"' + OUT,
                  "quay.toml:2:115: f.fixed_file cannot be used where rows are read one after the other; take it out, or the "
                  "readout\n")
        self.says(PLATE + 'f = { kind = "plane", file = "f.csv", fixed_file = "fixed.csv" }\n' + OUT,
                  "quay.toml:2:52: f.fixed_file corrects what is measured, but file is used instead of measuring; take one of them "
                  "out\n")

    def test_missing_input(self):
        self.says(PLATE + 'out = { kind = "deliver", file = "out/o.####.png" }\n',
                  'quay.toml:2:1: out has no image; a deliver needs a picture there: image = "NODE"\n')

    def test_not_a_number(self):
        self.says(PLATE + 'l = { kind = "layer", back = "plate", front = "plate", opacity = nan }\n' + OUT,
                  'quay.toml:2:66: l.opacity is not a number; it may be 0 to 1\n')

    def test_three_corners(self):
        self.says(PLATE + 'w = { kind = "plane", image = "plate", region = [[9, 9], [40, 9], [40, 40]] }\n' + OUT,
                  'quay.toml:2:49: w.region has 3 corners; a plane needs 4 or more\n')

    def test_parts_of_a_plane(self):
        region = 'w = { kind = "plane", image = "plate", region = [[9, 9], [40, 9], [40, 40], [9, 40]], '
        self.says(PLATE + region + 'also = [[[9, 9], [40, 9]]] }\n' + OUT,
                  'quay.toml:2:94: w.also has 2 corners in outline 1; a part of a plane needs 3 or more\n')
        self.says(PLATE + region + 'also = [[9, 9], [40, 9]] }\n' + OUT,
                  'quay.toml:2:96: corner 1 of outline 1 of w.also is not a point; a point is [x, y] in pixels\n')
        self.says(PLATE + region + 'also = 9 }\n' + OUT,
                  'quay.toml:2:94: w.also is a whole number; it takes a list of outlines, as in [[[0, 0], [90, 0], [90, 60]]]\n')
        self.says(PLATE + region + 'also_names = "door" }\n' + OUT,
                  'quay.toml:2:100: w.also_names names parts of a drawing, but there is none; name it with region_file, or give the '
                  "parts' corners with also\n")

    def test_region_outside(self):
        self.says(PLATE + 'w = { kind = "plane", image = "plate", region = [[90, 9], [140, 9], [140, 40], [90, 40]] }\n' + OUT,
                  'quay.toml:2:49: w.region lies outside the plate, which is 64x48; draw it over the reference frame\n')

    def test_fraction_of_a_frame(self):
        self.says(PLATE + 'l = { kind = "layer", back = "plate", front = "plate", opacity = { 1.5 = 0 } }\n' + OUT,
                  'quay.toml:2:68: l.opacity has the key 1.5, which TOML reads as a table inside a table; keys are whole frames: use 1 or 2\n')

    def test_frame_missing_in_the_middle(self):
        os.remove(self.folder / "in/a.0003.png")
        done = self.says(PLATE + OUT, 'in/a.0003.png: frame 3: the frame is missing; find the file, or let the footage hold the '
                         'last frame: missing = "hold"\n', status=1)
        self.assertEqual(sorted(p.name for p in (self.folder / "out").iterdir()),
                         ["o.0001.png", "o.0002.png", "o.0004.png", "o.0005.png"])
        self.assertIn("1 of 5 frames failed; see above", done.stdout)

    def test_gap_held_or_black(self):
        os.remove(self.folder / "in/a.0003.png")
        self.draw("in/a.####.png", 64, 48, 2, colour=[0.5, 0.1, 0.2])
        self.says(PLATE.replace(" }", ', missing = "hold" }') + OUT, "", status=0)
        scored = self.run_it("score", "out/o.0003.png", "out/o.0002.png", "--json").stdout
        self.assertEqual(json.loads(scored)["psnr_db_worst"], 999, scored)
        self.says(PLATE.replace(" }", ', missing = "black" }') + OUT, "", status=0)
        self.draw("black.####.png", 64, 48, 1, colour=[0, 0, 0])
        scored = self.run_it("score", "out/o.0003.png", "black.0001.png", "--json").stdout
        self.assertEqual(json.loads(scored)["psnr_db_worst"], 999, scored)

    def test_truncated_png(self):
        file = self.folder / "in/a.0002.png"
        file.write_bytes(file.read_bytes()[:-30])
        self.says(PLATE + OUT, "in/a.0002.png: frame 2: the file is cut off; copy or render it again\n", status=1)

    def test_truncated_exr(self):
        self.draw("in/e.####.exr", 64, 48, 3)
        file = self.folder / "in/e.0002.exr"
        file.write_bytes(file.read_bytes()[:-30])
        self.says(PLATE.replace("a.####.png", "e.####.exr") + OUT,
                  "in/e.0002.exr: frame 2: the file is cut off; copy or render it again\n", status=1)

    def test_zero_bytes(self):
        (self.folder / "in/a.0004.png").write_bytes(b"")
        self.says(PLATE + OUT, "in/a.0004.png: frame 4: the file is empty; copy or render it again\n", status=1)

    def test_random_bytes(self):
        (self.folder / "in/a.0004.png").write_bytes(bytes((i * 7919 + 13) % 251 for i in range(4000)))
        self.says(PLATE + OUT, "in/a.0004.png: frame 4: this is no kind of file that is known; "
                  "name an EXR, PNG, TIFF, DPX or JPEG file\n", status=1)
        done = subprocess.run([PROGRAM, "check", "in/a.0004.png"], cwd=self.folder, capture_output=True, text=True)
        self.assertEqual(done.returncode, 2)
        self.assertIn("this is no text, so it is no shot file", done.stderr)

    def test_size_changes(self):
        self.draw("in/b.####.png", 32, 48, 3)
        shutil.copy(self.folder / "in/b.0003.png", self.folder / "in/a.0003.png")
        self.says(PLATE + OUT, "in/a.0003.png: frame 3: the picture is 32 x 48, but in/a.0001.png is 64 x 48; render it again at that size, or name "
                  "the two runs as two nodes\n", status=1)

    def test_no_such_footage(self):
        self.says(PLATE.replace("in/a", "in/x") + OUT,
                  'in/x.####.png: no file fits the pattern; did you mean in/a.####.png?\n')

    def test_output_onto_input(self):
        self.says(PLATE + OUT.replace("out/o", "in/a"),
                  "quay.toml:2:51: out would write over the files that plate reads; give out.file another name or folder\n")

    def test_output_onto_input_through_a_link(self):
        os.symlink("in", self.folder / "other")
        self.says(PLATE + OUT.replace("out/o.", "other/a."), "quay.toml:2:51: out would write over the files that plate "
                  "reads; give out.file another name or folder\n")

    def test_nothing_need_be_writable_but_the_output(self):
        """As another user, where the tests run as root."""
        if os.getuid() != 0:
            self.skipTest("needs root to become somebody else")
        (self.folder / "quay.toml").write_text(PLATE + OUT)
        for p in [self.folder, self.folder / "in", *(self.folder / "in").iterdir()]:
            os.chmod(p, 0o755)
        (self.folder / "out").mkdir()
        os.chmod(self.folder / "out", 0o777)
        nobody = dict(preexec_fn=lambda: (os.setgid(65534), os.setuid(65534)))
        done = self.run_it("render", "quay.toml", **nobody)
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        os.chmod(self.folder / "out", 0o755)
        done = self.run_it("render", "quay.toml", "--again", **nobody)
        self.assertEqual((done.returncode, done.stderr),
                         (2, "quay.toml:2:51: the folder out may not be written to; change its permissions or choose "
                             "another\n"))

    def test_a_command_or_an_option_misspelt(self):
        for words, message in ((("rendr", "quay.toml"), 'there is no command "rendr"; did you mean render?\n'),
                               (("render", "quay.toml", "--scal=1"), 'there is no option "--scal"; did you mean --scale?\n'),
                               (("zzz",), 'there is no command "zzz"; "platewright --help" lists them\n')):
            done = self.run_it(*words)
            self.assertEqual((done.returncode, done.stderr), (2, message))

    def test_a_picture_as_shot_file(self):
        done = self.run_it("render", "in/a.0001.png")
        self.assertEqual((done.returncode, done.stderr),
                         (2, 'in/a.0001.png: this is no text, so it is no shot file; name the .toml file; "platewright '
                             'probe" says what other files are\n'))

    def test_pictures_of_two_sizes(self):
        self.draw("small.####.png", 32, 24, 5)
        done = self.run_it("score", "small.####.png", "in/a.####.png", "--frames", "2")
        self.assertEqual((done.returncode, done.stderr.splitlines()[0]),
                         (1, "small.####.png: frame 2: the picture is 32x24, that of in/a.####.png is 64x48; compare "
                             "pictures of one size"))

    def test_output_that_cannot_be_written(self):
        with open("/dev/full", "w") as full:
            done = subprocess.run([PROGRAM, "kinds"], stdout=full, stderr=subprocess.PIPE, text=True)
        self.assertEqual(done.returncode, 1)
        self.assertIn("the output cannot be written", done.stderr)

    def test_unwritable_folder(self):
        (self.folder / "file").write_text("")
        done = self.says(PLATE + OUT.replace("out/o", "file/o"),
                         "quay.toml:2:51: the folder file cannot be made (Not a directory); a file has its name: deliver elsewhere\n")
        self.assertEqual(done.stdout, "")

    def test_full_disk(self):
        (self.folder / "quay.toml").write_text(PLATE + OUT)
        done = subprocess.run(["bash", "-c", "ulimit -f 0; exec \"$0\" render quay.toml", PROGRAM], cwd=self.folder,
                              capture_output=True, text=True)
        self.assertEqual(done.returncode, 1)
        self.assertIn("out/o.0001.png: frame 1: ", done.stderr)
        self.assertFalse((self.folder / "out").exists(), "no half-written file stays, and no empty folder")

    def test_unknown_ending(self):
        self.says(PLATE + OUT.replace(".png\" }\n", ".pmg\" }\n"),
                  'quay.toml:2:51: out.file cannot be written: '
                  '.pmg is not a kind of picture that is written; use .png; there are also .jpg, .jpeg, .exr, .tif, .dpx, .tiff\n')

    def test_no_place_for_the_number(self):
        self.says(PLATE + OUT.replace("o.####", "o"),
                  'quay.toml:2:51: out.file has no place for the frame\'s number; write one hash for each digit, as in "out/quay.####.png"\n')

    def test_absurd_size(self):
        self.says('shot = { size = [1000000, 1000000], frames = [1, 2] }\nplate = { kind = "colour" }\n' + OUT,
                  "quay.toml:1:17: shot.size is 1000000 px; it may be 1 to 65536 px\n")

    def test_no_shot_file(self):
        done = self.run_it("check", "quya.toml")
        self.assertEqual((done.stderr, done.returncode), ("quya.toml: there is no such shot file; check the name and the folder\n", 2))

    def test_not_toml(self):
        (self.folder / "quay.toml").write_text("plate = { kind = \"footage\"\n")
        done = self.run_it("check", "quay.toml")
        self.assertTrue(done.stderr.startswith("quay.toml:1:27: this is not TOML: "), done.stderr)
        self.assertTrue(done.stderr.endswith("; see https://toml.io for how values are written\n"), done.stderr)

    def test_settings(self):
        self.says(PLATE + OUT, '--set out.flie: this is no setting; write --set NODE.PARAMETER=VALUE, as in --set clean.filter=cubic\n',
                  extra=("--set", "out.flie"))
        self.says(PLATE + OUT, '--set out.flie=3: out (deliver) has no "flie"; did you mean file?\n', extra=("--set", "out.flie=3"))
        self.says(PLATE + OUT, "--set out.depth=8: out.depth is a whole number; it takes one of usual, 8, 10, 16, half, "
                  "float, in quotes\n", extra=("--set", "out.depth=8"))

        self.says(PLATE + OUT, "--set l.opacity: this setting has more than one line; give --set once for each parameter\n",
                  extra=("--set", "l.opacity=1\nb=2"))

    def test_settings_of_the_shot(self):
        """Whether or not the file has a [shot] table."""
        for shot in (PLATE + OUT, 'shot = { like = "plate", frames = [1, 2] }\n' + PLATE + OUT):
            (self.folder / "quay.toml").write_text(shot)
            done = self.run_it("check", "quay.toml", "--set", "shot.frames=[3, 4]", "--set", "shot.size=[32, 24]", "--set", "shot.rate=30")
            self.assertEqual(done.stdout, "quay.toml is right: 2 nodes, 32x24, frames 3 to 4 at 30 a second\n", done.stderr)
        self.says(PLATE + OUT, '--set shot.rate=0: shot.rate is "0"; write 24, "25" or "24000/1001"; it may be 0.1 to 1000\n',
                  extra=("--set", "shot.rate=0"))

    def test_a_node_without_pictures(self):
        (self.folder / "quay.toml").write_text(PLATE + OUT)
        done = self.run_it("probe", "quay.toml", "--frame", "1", "--svg", "a.svg", "--image", "out")
        self.assertEqual((done.stderr, done.returncode),
                         ("quay.toml: out (deliver) has no picture; name a node that gives a picture or a matte\n", 2))

    def test_a_drawing_is_not_written_over(self):
        (self.folder / "goose.0001.svg").write_text("drawn by hand")
        done = self.run_it("probe", "in/a.####.png", "--frame", "1", "--svg", "goose.0001.svg")
        self.assertEqual((done.stderr, done.returncode),
                         ("goose.0001.svg: this drawing is there already, and what was drawn in it would be lost; "
                          "name another file, as in goose.0012.svg\n", 2))
        self.assertEqual((self.folder / "goose.0001.svg").read_text(), "drawn by hand")

    def test_lineup(self):
        (self.folder / "quay.toml").write_text(PLATE + OUT)
        for words, text in (
                (("l.jpg",), "quay.toml: --lineup writes a picture with alpha; name it as in lineup.png"),
                (("l.png", "--stand", "1,2 3"), 'quay.toml: --stand is not a list of places; as in --stand "380,500 620,470"'),
                (("l.png", "--tall", "0"), "quay.toml: --tall is no height; give it in metres, as in --tall 1.75"),
                (("l.png",), "quay.toml: the shot has no camera; add a node of kind camera"),
                (("l.png", "--camera", "out"), "quay.toml: out is no camera; name a node of kind camera")):
            done = self.run_it("probe", "quay.toml", "--lineup", *words)
            self.assertEqual((done.stderr, done.returncode), (text + "\n", 2))

    def test_page_without_a_name(self):
        done = self.run_it("contactsheet", "in/a.####.png", "in/a.####.png")
        self.assertEqual((done.stderr, done.returncode),
                         ("in/a.####.png: the page is one file, not a sequence; name the page before the rows, as in "
                          "sheet.png plate.####.png\n", 2))

    def test_flat_crop(self):
        done = self.run_it("contactsheet", "s.png", "in/a.####.png", "--crop", "0,0,9999999,1")
        self.assertEqual(done.returncode, 2)
        self.assertIn("pixels wide or more; take fewer frames", done.stderr)

    def test_scale(self):
        self.says(PLATE + OUT, '--scale: "nan" is no scale; write 0.01 to 1, as in 0.5\nRun with --help for more information.\n',
                  extra=("--scale", "nan"))

    def test_proxy_of_one_colour_is_one_colour(self):
        self.says(PLATE + OUT, "", status=0, extra=("--scale", "0.5", "--frames", "1"))
        self.draw("half/o.####.png", 32, 24, 1)
        done = self.run_it("score", "out/o.####.png", "half/o.####.png", "--json")
        self.assertIn('"largest":0.0,', done.stdout)

    def test_name_that_is_no_text(self):
        done = subprocess.run([PROGRAM, "check", b"q\xff.toml", "--json"], cwd=self.folder, capture_output=True)
        self.assertEqual(done.returncode, 2)
        self.assertIn(b"there is no such shot file", done.stdout)

    def test_deep_key(self):
        key = ".".join("a" * 200000)
        for place, text in (("1:35", "[" + key + "]\n"), ("2:34", "x = '1.2.3' # 1.2\n" + key + " = 1\n"),
                            ("1:54", "x = { y = \"\"\"a\"\"\"\", " + key + " = 1 }\n")):
            (self.folder / "quay.toml").write_text(text)
            done = self.run_it("check", "quay.toml")
            self.assertEqual(done.stderr, f"quay.toml:{place}: a key has more than 16 dots; "
                             "a node is a table, and a parameter an entry in it\n")

    def test_a_million_frames(self):
        self.says('shot = { size = [8, 8], frames = [-9999999, 9999999] }\nplate = { kind = "colour" }\n' + OUT,
                  "quay.toml:1:1: the shot has the frames -9999999 to 9999999, more than a million; "
                  "say which are meant, as in shot = { frames = [1, 48] }\n")

    def test_a_frame_too_large_for_memory(self):
        self.says('shot = { size = [65536, 65536], frames = [1, 1] }\nplate = { kind = "colour" }\n' + OUT,
                  "frame 1: a picture of 65536x65536 takes 68.7 GB, more than the limit of memory; "
                  "raise --memory if the machine has it, or draw with a smaller --scale\n", status=1)

    def test_every_path_to_a_node_is_walked_once(self):
        chain = "".join(f'n{i} = {{ kind = "layer", back = "n{i - 1}", front = "n{i - 1}" }}\n' for i in range(1, 60))
        self.says('shot = { size = [8, 8], frames = [1, 1] }\nn0 = { kind = "colour" }\n' + chain +
                  OUT.replace('"plate"', '"n59"'), "", status=0)

    def test_matte_keeps_its_edge_at_the_border(self):
        """A thing that leaves the picture is covered up to the border, whatever the feather."""
        self.says('shot = { size = [64, 48], frames = [1, 1] }\nback = { kind = "colour", value = [0, 0, 0] }\n'
                  'd = { kind = "outline", keys = { 1 = "M -99 -99 H 150 V 150 H -99 Z" } }\n'
                  'm = { kind = "mattes", add = ["d"], feather_px = 9 }\nplate = { kind = "colour", value = [0.2, 0.4, 0.1] }\n'
                  'l = { kind = "layer", back = "back", front = "plate", mask = "m" }\n' + OUT.replace('"plate"', '"l"'),
                  "d: measured in 0.00 s\n", status=0)
        done = self.run_it("score", "out/o.####.png", "in/a.0001.png", "--json")
        self.assertIn('"largest":0.0,', done.stdout)

    def test_frames(self):
        self.says(PLATE + OUT, "--frames 1-9: frame 6 is outside the shot; it has frames 1 to 5\n", extra=("--frames", "1-9"))

    def test_memory(self):
        self.says(PLATE + OUT, '--memory: "lots" is no amount of memory; write 800M or 4G; at least 1M\n', extra=("--memory", "lots"))

    def test_node_name(self):
        self.says(PLATE + OUT, "quay.toml: the shot has no node \"uot\"; did you mean out?\n", extra=("uot",))


if __name__ == "__main__":
    unittest.main(verbosity=1)
