#!/usr/bin/env python3
"""Runs the routing engine beside general-purpose libraries, in one run, on one core each. See README.md."""

import argparse
import csv
import importlib.util
import os
import statistics
import sys
import time
from pathlib import Path

import check
import solvers

HERE = Path(__file__).resolve().parent


def best_known(path):
    with open(path, newline="") as file:
        return {row["name"]: round(10 * float(row["bks_distance"])) for row in csv.DictReader(file)}


def available(names, binary):
    table = {"engine": solvers.engine(binary), "pyvrp": solvers.pyvrp, "ortools": solvers.ortools}
    chosen = {}
    for name in names:
        if name != "engine" and importlib.util.find_spec(name) is None:
            print(f"{name} is not installed here: left out", file=sys.stderr)
        else:
            chosen[name] = table[name]
    return chosen


def row(label, gaps, failed):
    """Mean over instances of the mean over seeds, the spread of the seeds' means, and the means by size."""
    means = {key: statistics.mean(values.values()) for key, values in gaps.items() if values}
    if not means:
        return f"{label:24s} no plan"
    seeds = sorted({seed for values in gaps.values() for seed in values})
    by_seed = [statistics.mean(v[seed] for v in gaps.values() if seed in v) for seed in seeds]
    spread = statistics.stdev(by_seed) if len(by_seed) > 1 else 0.0
    sizes = sorted({size for size, _ in means})
    parts = [f"{size}: {statistics.mean(m for (s, _), m in means.items() if s == size):.2f}" for size in sizes]
    note = f"  ({failed} without a plan, not in the means)" if failed else ""
    return f"{label:24s} mean {statistics.mean(means.values()):6.3f} %  sd {spread:.3f}  {'  '.join(parts)}{note}"


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--best", required=True, help="CSV with columns name and bks_distance")
    parser.add_argument("--seconds", type=float, nargs="+", default=[1, 5, 20])
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--solvers", nargs="+", default=["engine", "pyvrp", "ortools"])
    default = HERE.parents[3] / "target/release/examples/vrptw"
    parser.add_argument("--binary", default=os.environ.get("VRPTW", str(default)))
    parser.add_argument("--clock", choices=sorted(solvers.CLOCKS), default="wall", help="cpu suits a busy machine")
    parser.add_argument("--details", action="store_true", help="also print every instance")
    parser.add_argument("files", nargs="+")
    args = parser.parse_args()

    # One core for this process and what it starts.
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {sorted(os.sched_getaffinity(0))[-1]})
    best = best_known(args.best)
    instances = sorted(((path, check.read(path)) for path in args.files), key=lambda item: item[1].size)
    chosen = available(args.solvers, args.binary)
    wrong = 0
    for seconds in args.seconds:
        results = {name: {} for name in chosen}
        failed = dict.fromkeys(chosen, 0)
        for path, instance in instances:
            for seed in range(args.first_seed, args.first_seed + args.seeds):
                for name, solve in chosen.items():
                    if name == "ortools" and seed > args.first_seed:
                        continue  # takes no seed
                    began = time.monotonic()
                    routes = solve(instance, path, seconds, seed, args.clock)
                    took = time.monotonic() - began
                    gaps = results[name].setdefault((instance.size, instance.name), {})
                    if routes is None:
                        failed[name] += 1
                        continue
                    try:
                        total = check.check(instance, routes)
                    except check.Infeasible as fault:
                        print(f"{name} {instance.name} seed {seed}: {fault}", file=sys.stderr)
                        wrong += 1
                        continue
                    gaps[seed] = 100 * (total / best[instance.name] - 1)
                    if args.details:
                        print(f"  {name:8s} {instance.name:10s} {seconds:g} s seed {seed}: {total / 10:.1f}"
                              f" {gaps[seed]:.2f} % in {took:.2f} s", flush=True)
        for name in chosen:
            print(row(f"{name} {seconds:g} s", results[name], failed[name]), flush=True)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
