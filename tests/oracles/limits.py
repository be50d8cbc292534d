"""What nobody could do better, where the scoreboard misses a goal. Prints two tables.

- Due dates. A floor silts up by one of the scenarios' laws; somebody sees its resistance every four days, with a small
  error, until half-way to its flood. They know exactly at which resistance it will flood, and weigh the same three laws
  as the engine. What is left of the error is not knowing by which law it rises.
- Outlets that close where floats are all there is. A float rises of large doses alone, so that until the first of them
  there is nothing to see. Which doses are large for a float is read off its own rises before the outlet closed.
"""

import argparse
import concurrent.futures
import datetime
import json
import pathlib
import statistics
import subprocess
import tempfile

import numpy as np

STRETCH_DAYS = 4.0
BEFORE_DAYS = 30.0
# By scenario: resistance without silt as the engine tells it (h), what silting adds by the day (h), and when such floors
# flood (days, medians of the scoreboard's runs).
FLOORS = {
    "mulch-clogging": (4.5, lambda t: 80 * t / 240, 47),
    "mulch-clogging-clay": (15.0, lambda t: 400 * t / 300, 178),
    "mulch-clogging-floats": (6.5, lambda t: 80 * np.expm1(3 * t / 200) / np.expm1(3), 162),
}
ERRORS = (0.05, 0.10, 0.15)
DRAWS = 64
# The engine's prior: logarithms that each make a course e times less likely, and the weights of the laws.
RISE, RISE_A_DAY, LAWS = 3.0, 0.2, (-0.5, 0.0, -0.5)
HORIZON_DAYS = 3650


def log_resistance(clean, silt, day):
    return np.log(clean + np.where(day > 0, silt(np.maximum(day, 0)), 0))


def courses(level, rise, risen):
    """Logarithms by the three laws, where `risen` is the part of the time from onset until now."""
    steady, now, part = np.exp(level - rise), np.exp(level), np.maximum(risen, 0)
    evenly = np.log(steady + (now - steady) * part)
    faster = np.log(steady + (now - steady) * part**2)
    return np.stack([evenly, faster, level - rise + rise * part])


def foretold(seen_on, seen, error, now, target):
    """Days from now until the resistance reaches `target`: the median over all courses that fit."""
    last = seen[-4:].mean()
    level = (last + np.linspace(-0.3, 0.7, 40))[:, None, None, None]
    rise = np.linspace(0, 2.6, 32)[None, :, None, None]
    onset = np.linspace(seen_on[0], now - STRETCH_DAYS, 32)[None, None, :, None]
    miss = (seen - courses(level, rise, (seen_on - onset) / (now - onset))) / error
    log = (-2.5 * np.log1p(miss**2 / 4)).sum(axis=-1)
    prior = -rise / RISE - rise / (now - onset) / RISE_A_DAY
    log = log + prior[..., 0] + np.array(LAWS)[:, None, None, None]
    weight = np.exp(log - log.max())
    ahead = np.geomspace(1, HORIZON_DAYS, 80)
    reached = courses(level, rise, (now + ahead - onset) / (now - onset)) >= target
    by_then = (weight[..., None] * reached).sum(axis=(0, 1, 2, 3)) / weight.sum()
    return np.interp(0.5, by_then, ahead)


def due_dates():
    random = np.random.default_rng(1)
    print("error of what is seen | " + " | ".join(FLOORS) + " | together")
    for error in ERRORS:
        misses = []
        for clean, silt, flood in FLOORS.values():
            now, target = flood / 2, log_resistance(clean, silt, np.array(float(flood)))
            seen_on = np.arange(-BEFORE_DAYS, now - STRETCH_DAYS / 2, STRETCH_DAYS)
            truth = log_resistance(clean, silt, seen_on)
            for _ in range(DRAWS):
                seen = truth + error * random.standard_normal(len(seen_on))
                misses.append(abs(foretold(seen_on, seen, error, now, target) - now) / now)
        each = np.array(misses).reshape(len(FLOORS), DRAWS)
        parts = [f"{100 * np.median(part):.0f} %" for part in (*each, each)]
        print(f"{100 * error:.0f} % | " + " | ".join(parts), flush=True)


def moment(text):
    return datetime.datetime.fromisoformat(text.replace("Z", "+00:00"))


def large_doses(seed, simulators):
    """How many doses come after the outlet closed until the first, second and third that is large for its float."""
    with tempfile.TemporaryDirectory() as folder:
        write = [simulators, "write", "outlet-blocked-floats", "--seed", str(seed), "--out", folder]
        subprocess.run(write, check=True, capture_output=True)
        truth = [json.loads(line) for line in pathlib.Path(folder, "truth.jsonl").read_text().splitlines()]
        fault = next(line for line in truth if line["truth"] == "fault")
        closed, basin = moment(fault["onset"]), fault["subject"]["basin"]
        rises, was_up = [], False
        with open(pathlib.Path(folder, "recording.jsonl"), encoding="utf-8") as recording:
            for message in map(json.loads, recording):
                if message["topic"].endswith(f"/{basin}/float"):
                    is_up = "wet" in message["payload"].lower()
                    if is_up and not was_up:
                        rises.append(moment(message["received"]))
                    was_up = is_up
    late = datetime.timedelta(minutes=12)
    doses = []
    for dose in (line for line in truth if line["truth"] == "dose" and not line["rain"]):
        begun, ended = moment(dose["start"]), moment(dose["end"])
        doses.append((begun, dose["litres"], any(begun <= rise <= ended + late for rise in rises)))
    before = [(litres, rose) for begun, litres, rose in doses if begun < closed]

    def fits(from_litres):
        return sum((litres >= from_litres) == rose for litres, rose in before)

    large = max(sorted(litres for litres, _ in before), key=fits)
    after = [litres for begun, litres, _ in doses if begun >= closed]
    part = sum(rose for _, rose in before) / len(before)
    return part, [n for n, litres in enumerate(after, 1) if litres >= large][:3]


def floats_alone(seeds, simulators):
    with concurrent.futures.ThreadPoolExecutor() as pool:
        runs = list(pool.map(lambda seed: large_doses(seed, simulators), range(1, seeds + 1)))
    print(f"a float rises of {100 * statistics.median(part for part, _ in runs):.0f} % of doses (median of {seeds})")
    for n in range(3):
        came = [doses[n] for _, doses in runs if len(doses) > n]
        print(f"large dose {n + 1} after the outlet closed: dose {statistics.median(came):.1f} (median)")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--simulators", required=True, type=pathlib.Path, help="the program that writes recordings")
    parser.add_argument("--seeds", type=int, default=16)
    options = parser.parse_args()
    due_dates()
    floats_alone(options.seeds, options.simulators)


if __name__ == "__main__":
    main()
