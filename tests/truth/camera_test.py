"""The harbour's camera, from the quay: camera_test.py PLATEWRIGHT CLIP WORK.

A person has the clip, the shot file, and a tape measure: the foot of the hall at the edges of its portal and its
pilasters, and the joints of the granite blocks at the edge of the quay, 6.95 m before it, were measured to the
centimetre (fixtures/stage/harbour_hall.cpp, harbour_ground.cpp and harbour_openings.cpp draw them), and clicked in
frame 22, looking at it enlarged, to half a pixel. The quay's plane is measured, and from it focal length, height and
tilt. Since clicks are a matter of luck, they are made TRIES times: once as they were, then each coordinate up to half a
pixel beside. Worst of all tries against truth/camera.json, which is opened for that alone: focal length and height as
shares of the true ones, tilt in degrees.

And once more from two planes, the quay and the hall's wall, whose motions alone must tell focal length and tilt; of all
lengths only that between two joints of the blocks is known, clicked as before.

Prints figures and lines "BAR name value" for tests/bars.toml.
"""
import json
import pathlib
import random
import shutil
import subprocess
import sys

import cv2

FIXTURES = pathlib.Path(__file__).resolve().parents[2] / "fixtures"
TRIES = 12
# Pixels of frame 22; metres to the right of the portal's left edge, and from the far joint of the blocks ahead.
CLICKS = (((384, 382.5), (-1.37, 6.95)), ((458.5, 383), (0, 6.95)), ((614, 383), (2.86, 6.95)), ((688, 383), (4.23, 6.95)),
          ((721, 383), (4.83, 6.95)), ((443.5, 512), (0, 0)), ((590, 512), (1.45, 0)), ((736, 512.5), (2.90, 0)),
          ((881.5, 512.5), (4.35, 0)))
JOINTS = CLICKS[5], CLICKS[8]


def two_planes(number, beside):
    """The node of one try from two planes."""
    pixels = [[x + beside(), y + beside()] for (x, y), _ in JOINTS]
    metres = [list(m) for _, m in JOINTS]
    return (f'\n[pair{number}]\nkind = "camera"\nmotion = "ground"\nsecond = "hall"\n'
            f'points_px = {pixels}\npoints_m = {metres}\n')


def camera(number, beside):
    """The node of one try, its clicks moved by what `beside` gives."""
    pixels = [[x + beside(), y + beside()] for (x, y), _ in CLICKS]
    metres = [list(m) for _, m in CLICKS]
    return f'\n[eye{number}]\nkind = "camera"\nmotion = "ground"\npoints_px = {pixels}\npoints_m = {metres}\n'


def lineup(platewright, clip, shot):
    """The sheet for the shoot: the portal's width is known, the blocks' joints lie 6.95 m before the hall, and the
    grid's horizon is a line of amber at the row the camera's node tells."""
    png = shot.parent / "monitor.png"
    done = subprocess.run([platewright, "probe", shot, "--lineup", png, "--camera", "eye0", "--stand", "458.5,383 614,383 590,512", "--json",
                           "--set", f"plate.file={clip}/f.####.png"], capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"probe --lineup ended with status {done.returncode}\n{done.stderr}")
    print(done.stdout)
    sheet = json.loads(done.stdout)
    left, right, joint = sheet["places"]
    assert abs(right["right_m"] - left["right_m"] - 2.86) < 0.1 and abs(left["ahead_m"] - joint["ahead_m"] - 6.95) < 0.2, sheet
    wide, deep = (hi - lo for lo, hi in (sheet["platform"]["right_m"], sheet["platform"]["ahead_m"]))
    assert abs(wide - 3.86) < 0.15 and abs(deep - 7.95) < 0.25, (wide, deep)
    picture = cv2.imread(str(png), cv2.IMREAD_UNCHANGED)
    left, right = sheet["horizon"]
    assert picture.shape == (540, 960, 4), picture.shape
    for x, row in ((5, left), (955, right)):
        blue, green, red, alpha = picture[int(row), x].astype(int)
        assert red > 200 and blue < 120 and alpha > 200, (x, row, picture[int(row), x])
    assert 120 < picture[100, 480, 3] < 136, "the plate is half there"


def judge(work, way, truth, row):
    """The worst of all tries of one way against the truth."""
    worst = {"focal_px": 0.0, "height_m": 0.0, "tilt_deg": 0.0}
    for k in range(TRIES):
        f = json.loads((work / "harbour.measured" / f"{way}{k}.json").read_text())
        off = {name: f[name] - truth[name] for name in worst}
        print(f"  {way} {k:2d}: " + ", ".join(f"{name} {f[name]:.3f} +- {f[name.replace('_', '_sd_', 1)]:.3f} ({off[name]:+.3f})"
                                              for name in worst) + f", misses by {f['residual_px']:.2f} px")
        for name in worst:
            worst[name] = max(worst[name], abs(off[name]) / (1 if name == "tilt_deg" else truth[name]))
    print(f"BAR {row}.focal_share {worst['focal_px']:.5f}")
    print(f"BAR {row}.height_share {worst['height_m']:.5f}")
    print(f"BAR {row}.tilt_deg {worst['tilt_deg']:.5f}")


def main():
    platewright, clip, work = [pathlib.Path(a).resolve() for a in sys.argv[1:4]]
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)
    shutil.copytree(FIXTURES / "harbour", work / "harbour")
    chance = random.Random(7)
    half = lambda: chance.choice((-0.5, 0, 0.5))
    nodes = [camera(0, lambda: 0)] + [camera(k, half) for k in range(1, TRIES)]
    nodes += [two_planes(0, lambda: 0)] + [two_planes(k, half) for k in range(1, TRIES)]
    shot = work / "harbour.toml"
    shot.write_text((FIXTURES / "harbour.toml").read_text() + "".join(nodes))
    tries = [f"{way}{k}" for way in ("eye", "pair") for k in range(TRIES)]
    done = subprocess.run([platewright, "measure", shot, *tries, "--threads", "2", "--set", f"plate.file={clip}/f.####.png"],
                          capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"measure ended with status {done.returncode}\n{done.stdout}{done.stderr}")
    lineup(platewright, clip, shot)

    truth = json.loads((clip / "truth" / "camera.json").read_text())
    judge(work, "eye", truth, "harbour.camera")
    judge(work, "pair", truth, "harbour.camera.two_planes")


if __name__ == "__main__":
    main()
