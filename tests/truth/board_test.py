#!/usr/bin/python3
"""Stills of a board of square markers, held in the hand: tracked by the built command, its lens found with it.

  board_test.py PLATEWRIGHT WORK_FOLDER

Optional: it needs a folder with aruco/0.jpg to 41.jpg (github.com/abakisita/camera_calibration, MIT), named by
PW_FOOTAGE or lying at ../shared/footage beside the repository; where there is none it says so and leaves with status 77
(left out). The command gets the stills and the board's outline as a person draws it, in the still that shows it most
squarely. Then the markers' corners are found in every still by themselves (OpenCV's aruco, refined to subpixels) and
compared with where the track puts them. Neighbouring stills are far apart: each has to be found anew.
"""
import json
import os
import pathlib
import shutil
import subprocess
import sys

import cv2
import numpy as np

LEFT_OUT = 77
STILLS, REFERENCE = 42, 24
SHOT = """shot = { like = "stills", shutter_deg = 0 }
stills = { kind = "footage", file = "board/board.####.jpg", encoding = "srgb" }

[board]
kind = "plane"
image = "stills"
reference = 24
region = [[120, 50], [550, 58], [541, 404], [66, 374]]
estimate_lens = "k1_k2"
"""


def footage_folder():
    named = os.environ.get("PW_FOOTAGE")
    folder = pathlib.Path(named) if named else pathlib.Path(__file__).resolve().parents[3] / "shared" / "footage"
    if not (folder / "aruco" / "0.jpg").is_file():
        print(f"board: left out, no aruco/0.jpg in {folder} (PW_FOOTAGE names another folder)")
        sys.exit(LEFT_OUT)
    return folder / "aruco"


def markers(still):
    """Corners of each marker, 4 x 2, by its number; positions counted from the picture's outer corner."""
    parameters = cv2.aruco.DetectorParameters_create()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    grey = cv2.imread(str(still), cv2.IMREAD_GRAYSCALE)
    corners, numbers, _ = cv2.aruco.detectMarkers(grey, cv2.aruco.Dictionary_get(cv2.aruco.DICT_6X6_50),
                                                  parameters=parameters)
    return {int(n): c[0].astype(float) + 0.5 for n, c in zip(numbers.ravel(), corners)}


class Lens:
    """seen = centre + (ideal - centre) (1 + k1 r^2 + k2 r^4), r in half diagonals, as base/lens.h says."""

    def __init__(self, track):
        self.terms = track.get("lens", [0, 0])
        self.centre = np.array(track["size"], float) / 2
        self.unit = np.linalg.norm(self.centre)

    def factor(self, ideal):
        r2 = (((ideal - self.centre) / self.unit) ** 2).sum(axis=1, keepdims=True)
        return 1 + self.terms[0] * r2 + self.terms[1] * r2**2

    def seen(self, ideal):
        return self.centre + (ideal - self.centre) * self.factor(ideal)

    def ideal(self, seen):
        ideal = seen.copy()
        for _ in range(50):
            ideal = self.centre + (seen - self.centre) / self.factor(ideal)
        return ideal


def main(platewright, work):
    stills = footage_folder()
    shutil.rmtree(work, ignore_errors=True)
    (work / "board").mkdir(parents=True)
    for n in range(STILLS):
        shutil.copy(stills / f"{n}.jpg", work / "board" / f"board.{n:04d}.jpg")
    (work / "board.toml").write_text(SHOT)
    subprocess.run([platewright, "measure", work / "board.toml", "board", "--out", work / "board.json"], check=True)

    track = json.loads((work / "board.json").read_text())
    lens, home = Lens(track), markers(stills / f"{REFERENCE}.jpg")
    squares = []
    for frame in track["frames"]:
        if frame["frame"] == REFERENCE:
            continue
        there = markers(stills / f"{frame['frame']}.jpg")
        both = sorted(set(home) & set(there))
        assert len(both) >= 15, f"only {len(both)} markers were found in still {frame['frame']}"
        ideal = lens.ideal(np.concatenate([home[n] for n in both]))
        moved = cv2.perspectiveTransform(ideal[None], np.array(frame["frame_from_ref"]))[0]
        apart = ((lens.seen(moved) - np.concatenate([there[n] for n in both])) ** 2).sum(axis=1)
        rms = np.sqrt(apart.mean())
        print(f"still {frame['frame']:2}: {frame['status']}, {rms:.3f} px over {4 * len(both)} corners")
        assert frame["status"] == "good" or rms < 5, f"still {frame['frame']} is lost"
        assert frame["status"] != "good" or rms < 3, f"still {frame['frame']} is lost, and called good"
        squares.extend(apart)
    print(f"BAR board.rms_px {np.sqrt(np.mean(squares)):.6g}")


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]))
