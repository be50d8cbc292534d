"""How near a sequential test comes to one that knows the future.

Plays the same recordings to three judges and prints a table:

- the daemon's engine, dose by dose, through `basinward replay`;
- a fixed threshold on the mean share of the last seven days;
- an offline change-point search (PELT of the package `ruptures`) over each splitter's balances, given all of them at
  once: those of every dose that the engine measured, before and after;
- a sequential test (CUSUM, Page 1954) of each splitter's balance that was told beforehand, from the whole record, where
  it lies and by how much the fault will shift it: of all tests of so few false alarms that look at one balance the
  quickest in the worst case (Moustakides 1986).

Threshold, penalty and level are the smallest with which a rival raises no more false alarms on the healthy recordings
than the engine does, so that all are compared at the same price.
"""

import argparse
import concurrent.futures
import datetime
import json
import math
import pathlib
import statistics
import subprocess
import tempfile
import tomllib

import numpy as np
import ruptures

HEALTHY = ("healthy-family", "healthy-rain", "healthy-eight")
FAULTY = ("outlet-blocked", "outlet-blocked-eight", "tilt-step", "tilt-step-leaf", "tilt-settling")
# Findings that say which way the water went.
DIVIDES = {"blocked-outlet", "uneven-split"}
# A rival's alarm or change point this long before the fault is still meant for it.
EARLY_DAYS = 1.0
WEEK_DAYS = 7.0
# Doses below which a week says nothing.
FEWEST = 4
# A share this small is as good as none.
LEAST_SHARE = 0.005


def days(text):
    return datetime.datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp() / 86400


def lines(path):
    with open(path, encoding="utf-8") as file:
        return [json.loads(line) for line in file]


class Tree:
    """Splitters of a system file: design split, and the basins on either side."""

    def __init__(self, folder):
        (path,) = pathlib.Path(folder).glob("*.toml")
        self.splitters = {s["id"]: s for s in tomllib.loads(path.read_text(encoding="utf-8"))["splitter"]}

    def basins(self, name):
        if name not in self.splitters:
            return {name}
        return set().union(*(self.basins(fed) for fed in self.splitters[name]["feeds"]))

    def sides(self, splitter):
        return [self.basins(fed) for fed in self.splitters[splitter]["feeds"]]

    def design(self, splitter):
        split = self.splitters[splitter].get("split", [1, 1])
        return split[0] / sum(split)

    def parent(self, basin):
        return next(name for name, s in self.splitters.items() if basin in s["feeds"])


class Run:
    """One recording: its fault, the engine's findings, and share and balance of each splitter dose by dose."""

    def __init__(self, scenario, seed, programs):
        with tempfile.TemporaryDirectory() as folder:
            write = [programs / "simulators", "write", scenario, "--seed", str(seed), "--out", folder]
            subprocess.run(write, check=True, capture_output=True)
            replay = [programs / "basinward", "replay", "--doses", "--systems", f"{folder}/systems"]
            said = subprocess.run([*replay, f"{folder}/recording.jsonl"], check=True, capture_output=True, text=True)
            truth = lines(f"{folder}/truth.jsonl")
            self.tree = Tree(f"{folder}/systems")
        self.scenario = scenario
        self.length = days(truth[0]["until"]) - days(truth[0]["from"])
        self.fault = next((t for t in truth if t["truth"] == "fault"), None)
        events = [json.loads(line) for line in said.stdout.splitlines()]
        self.findings = [e for e in events if e["event"] == "finding" and e["finding"] in DIVIDES]
        doses = [e for e in events if e["event"] == "dose" and e["quality"] > 0]
        self.at = np.array([days(dose["at"]) for dose in doses])
        self.shares = {name: self.share_of(name, doses) for name in self.tree.splitters}

    def share_of(self, splitter, doses):
        a, b = self.tree.sides(splitter)
        # A basin whose probe is not believed has no share, which is not a share of nothing.
        both = ([sum(dose["shares"].get(basin, math.nan) for basin in side) for side in (a, b)] for dose in doses)
        return np.array([x / (x + y) if x + y > 0 else math.nan for x, y in both])

    def known(self, splitter):
        """Times, shares and balances of the doses that show this splitter."""
        share = self.shares[splitter]
        known = np.isfinite(share)
        share = share[known].clip(LEAST_SHARE, 1 - LEAST_SHARE)
        design = self.tree.design(splitter)
        return self.at[known], share, np.log(share / (1 - share)) - math.log(design / (1 - design))

    @property
    def onset(self):
        return days(self.fault["full" if self.fault["course"] == "step" else "onset"])

    @property
    def culprit(self):
        """The splitter whose balance the fault moves."""
        subject = self.fault["subject"]
        return subject.get("splitter") or self.tree.parent(subject["basin"])


def by_engine(run):
    """Alarms of the engine: when it first asked somebody to come, to which splitter, since when that is off."""
    asked = set()
    for finding in run.findings:
        subject = finding["subject"]
        about = (finding["finding"], *subject.items())
        if finding["change"] == "cleared":
            asked.discard(about)
        if finding["change"] == "cleared" or finding["severity"] == "info" or about in asked:
            continue
        asked.add(about)
        splitter = subject.get("splitter") or run.tree.parent(subject["basin"])
        yield days(finding["at"]), splitter, days(finding["estimate"]["since"])


def by_threshold(run, limit):
    """Alarms of a limit on the mean share of the last seven days, one for each time that it is crossed."""
    for splitter in run.tree.splitters:
        at, share, _ = run.known(splitter)
        crossed = False
        for i, now in enumerate(at):
            week = share[(at > now - WEEK_DAYS) & (at <= now)]
            was, crossed = crossed, len(week) >= FEWEST and abs(week.mean() - run.tree.design(splitter)) > limit
            if crossed and not was:
                yield now, splitter, now


def by_pelt(run, penalty):
    """Change points that a search over the whole record finds."""
    for splitter in run.tree.splitters:
        at, _, balance = run.known(splitter)
        if len(balance) < 4 * FEWEST:
            continue
        scale = 1.4826 * statistics.median(abs(balance - np.median(balance))) or 1.0
        bounded = (balance / scale).clip(-5, 5)
        # The linear kernel's cost is that of a shift of the mean.
        search = ruptures.KernelCPD(kernel="linear", min_size=FEWEST).fit(bounded.reshape(-1, 1))
        for point in search.predict(pen=penalty)[:-1]:
            shift = abs(balance[point:].mean() - balance[:point].mean())
            yield at[point], splitter, at[point], shift


def log_density(scaled):
    """Of balances in their own deviations, up to a constant: tails are heavy (Student's t, three degrees of freedom)."""
    return -2 * np.log1p(scaled**2 / 3)


def by_knowing(run, shift, level):
    """Alarms of a test that waits for each splitter's balance to shift by so much, either way."""
    for splitter in run.tree.splitters:
        at, _, balance = run.known(splitter)
        sound = balance[at < run.onset] if run.fault else balance
        if len(sound) < FEWEST:
            continue
        usual = np.median(sound)
        scale = 1.4826 * np.median(abs(sound - usual)) or 1.0
        for way in (shift, -shift):
            gains = log_density((balance - usual - way) / scale) - log_density((balance - usual) / scale)
            evidence = 0.0
            for now, gain in zip(at, gains):
                evidence = max(0.0, evidence + gain)
                if evidence > level:
                    yield now, splitter, now
                    break


def shift_of(runs):
    """By how much a fault shifts the balance of its splitter, at the median."""
    def shift(run):
        at, _, balance = run.known(run.culprit)
        return abs(np.median(balance[at > days(run.fault["full"])]) - np.median(balance[at < run.onset]))
    return statistics.median(map(shift, runs))


def false_alarms(judge, runs):
    return sum(1 for run in runs for _ in judge(run))


def smallest(judge, settings, runs, allowed):
    """The smallest setting that raises no more than the allowed false alarms."""
    fits = (s for s in settings if false_alarms(lambda run, s=s: judge(run, s), runs) <= allowed)
    return next(fits, settings[-1])


def measure(judge, runs, tells_when):
    found, right, delays, errors = 0, 0, [], []
    for run in runs:
        alarms = sorted(a for a in judge(run) if a[0] >= run.onset - EARLY_DAYS)
        if not alarms:
            continue
        found += 1
        # Of several at once, the largest shift.
        at_once = [a for a in alarms if a[0] - alarms[0][0] < EARLY_DAYS]
        first = max(at_once, key=lambda a: a[3:]) if alarms[0][3:] else alarms[0]
        right += first[1] == run.culprit
        meant = next((a for a in alarms if a[1] == run.culprit), None)
        if meant:
            delays.append(meant[0] - run.onset)
            errors.append(abs(meant[2] - run.onset))
    of = lambda values: f"{statistics.median(values):.1f}" if values else "–"
    share = lambda count, whole: f"{100 * count / whole:.0f} %" if whole else "–"
    return [share(found, len(runs)), share(right, found), of(delays) if tells_when else "–", of(errors)]


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--programs", type=pathlib.Path, default="target/release", help="folder of the programs")
    arguments.add_argument("--seeds", type=int, default=4, help="recordings of each scenario")
    given = arguments.parse_args()
    wanted = [(scenario, seed) for scenario in HEALTHY + FAULTY for seed in range(1, given.seeds + 1)]
    with concurrent.futures.ThreadPoolExecutor() as pool:
        runs = list(pool.map(lambda it: Run(*it, given.programs), wanted))
    healthy = [run for run in runs if run.scenario in HEALTHY]
    allowed = false_alarms(by_engine, healthy)
    years = sum(run.length for run in healthy) / 365.25
    limit = smallest(by_threshold, [0.01 * k for k in range(2, 50)], healthy, allowed)
    penalty = smallest(by_pelt, [10.0 * 1.2**k for k in range(40)], healthy, allowed)
    judges = {
        "engine, dose by dose": (by_engine, True),
        f"seven-day mean share off by {limit:.2f}": (lambda run: by_threshold(run, limit), True),
        f"search knowing the future, penalty {penalty:.0f}": (lambda run: by_pelt(run, penalty), False),
    }
    print(f"{len(runs)} recordings; healthy ones: {years:.1f} years.\n")
    def told_size(scenario):
        shift = shift_of([run for run in runs if run.scenario == scenario])
        watch = lambda run, level: by_knowing(run, shift, level)
        level = smallest(watch, [0.5 * k for k in range(4, 100)], healthy, allowed)
        return lambda run: watch(run, level)

    heads = ["fault", "judge", "found", "first names the right splitter", "days until told", "onset off by, days"]
    rows = [[scenario, name, *measure(judge, [r for r in runs if r.scenario == scenario], tells_when)]
            for scenario in FAULTY
            for name, (judge, tells_when) in {**judges, "CUSUM told the size beforehand": (told_size(scenario), True)}.items()]
    rows += [["none", name, f"{false_alarms(judge, healthy)} false", "", "", ""] for name, (judge, _) in judges.items()]
    widths = [max(len(row[i]) for row in [heads, *rows]) for i in range(len(heads))]
    for row in [heads, ["-" * width for width in widths], *rows]:
        print("| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths)) + " |")


if __name__ == "__main__":
    main()
