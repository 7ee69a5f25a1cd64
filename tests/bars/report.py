#!/usr/bin/env python3
"""Prints every bar: asked, reached before, measured in this run, met or not. report.py FOLDER BARS.toml"""
import pathlib
import sys
import tomllib

folder, table = pathlib.Path(sys.argv[1]), tomllib.load(open(sys.argv[2], "rb"))
measured = {}
for file in sorted(folder.glob("*")) if folder.is_dir() else []:
    for line in file.read_text().splitlines():
        name, value = line.split()
        measured[name] = float(value)

print(f"\n{'bar':<46}{'asked':>12}{'reached':>12}{'now':>12}  met")
missed = 0
for name, row in table.items():
    asked = row.get("asked")
    sign = "<=" if row["better"] == "lower" else ">="
    now = measured.get(name)
    value = row["reached"] if now is None else now
    met = "" if asked is None else "yes" if (value <= asked if row["better"] == "lower" else value >= asked) else "NO"
    missed += met == "NO"
    shown = "-" if asked is None else f"{sign} {asked:g}"
    print(f"{name:<46}{shown:>12}{row['reached']:>12.4g}{'not run' if now is None else f'{now:.4g}':>12}  {met}"
          f"{'' if now is not None else '  (' + row.get('why_not', 'not measured in this run') + ')'}")
print(f"{len(table)} bars, {missed} not met")
for name in measured:
    if name not in table:
        sys.exit(f"{name} was measured but has no row")
