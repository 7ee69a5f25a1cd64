#!/usr/bin/env python3
"""One thread and two: every third frame of the harbour at half size rendered by each in turn, measures stored, five
times; the median of the ratios. threads.py PLATEWRIGHT SHOT_FOLDER PLATE_PATTERN; SHOT_FOLDER holds harbour.toml and its outlines."""
import shutil
import statistics
import subprocess
import sys
import time

TURNS = 5
FRAMES = "1-48x3"


def render(program, folder, plate, threads):
    shutil.rmtree(folder + "/out", ignore_errors=True)
    started = time.monotonic()
    subprocess.run([program, "render", folder + "/harbour.toml", "out", "--scale", "0.5", "--frames", FRAMES,
                    "--threads", str(threads), "--set", f"plate.file={plate}"], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return time.monotonic() - started


def main(program, folder, plate):
    render(program, folder, plate, 2)  # Measures what is not stored.
    pairs = [(render(program, folder, plate, 1), render(program, folder, plate, 2)) for _ in range(TURNS)]
    one, two = (statistics.median(side) for side in zip(*pairs))
    ratio = statistics.median(a / b for a, b in pairs)
    print(f"every third frame of the harbour at half size, start of the program included: {one:.2f} s with one thread, "
          f"{two:.2f} s with two, ratio {ratio:.2f} (median of {TURNS})")


if __name__ == "__main__":
    if len(sys.argv) != 4:
        sys.exit(__doc__)
    main(*sys.argv[1:])
