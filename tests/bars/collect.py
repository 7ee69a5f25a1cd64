#!/usr/bin/env python3
"""Runs a program that prints lines "BAR name value", leaves the figures for the report, and fails when one is worse than reached.
collect.py BARS.toml FOLDER PROGRAM [ARGUMENT ...]"""
import os
import pathlib
import subprocess
import sys
import tomllib

table = tomllib.load(open(sys.argv[1], "rb"))
folder = pathlib.Path(sys.argv[2])
run = subprocess.Popen(sys.argv[3:], stdout=subprocess.PIPE, text=True)
figures = []
for line in run.stdout:
    print(line, end="", flush=True)
    if line.startswith("BAR "):
        _, name, value = line.split()
        figures.append((name, float(value)))
status = run.wait()
folder.mkdir(parents=True, exist_ok=True)
with open(folder / str(os.getpid()), "a") as out:
    for name, value in figures:
        out.write(f"{name} {value}\n")
for name, value in figures:
    row = table.get(name)
    if row is None:
        print(f"tests/bars.toml has no row {name}")
        status = 1
        continue
    slack = row.get("slack", 0.01 * abs(row["reached"]))
    worse = value > row["reached"] + slack if row["better"] == "lower" else value < row["reached"] - slack
    if worse:
        print(f"{name} is {value}, worse than the {row['reached']} that was reached")
        status = 1
sys.exit(status)
