"""Values for tests/stats/oracles.rs, computed with independent libraries and methods.

Without arguments, recomputes everything and compares with stats.json beside this file; with --write, replaces it.
Inputs come from a fixed generator and are stored with the answers, so the Rust side needs none of this.
"""

import json
import math
import pathlib
import sys
import warnings

import composition_stats
import numpy as np
import pymannkendall
import ruptures
from scipy import integrate, optimize, stats

FILE = pathlib.Path(__file__).with_name("stats.json")


def series(seed, count, slope, decimals):
    """A trend with noise, rounded so that ties occur."""
    noise = np.random.Generator(np.random.PCG64(seed)).normal(size=count)
    return np.round(20 + slope * np.arange(count) + noise, decimals).tolist()


def trends():
    """scipy.stats.theilslopes and kendalltau, pymannkendall.original_test."""
    for seed, count, slope, decimals in (
        (1, 10, 0.0, 3), (2, 12, 0.3, 3), (3, 20, -0.1, 3), (4, 35, 0.05, 3),
        (5, 24, 0.1, 0), (6, 60, -0.02, 1), (7, 90, 0.0, 0),
    ):
        values = series(seed, count, slope, decimals)
        test = pymannkendall.original_test(np.array(values))
        sen = stats.theilslopes(values, np.arange(count), 0.95)
        exact = None
        if len(set(values)) == count and count <= 40:
            exact = stats.kendalltau(np.arange(count), values, method="exact").pvalue
        yield {
            "values": values, "s": float(test.s), "variance": float(test.var_s), "z": float(test.z),
            "p_normal": float(test.p), "p_exact": exact,
            "slope": float(sen.slope), "low": float(sen.low_slope), "high": float(sen.high_slope),
        }


def balances():
    """composition_stats: ilr over the sequential binary partition of eight parts."""
    partition = np.array([
        [1, 1, 1, 1, -1, -1, -1, -1],
        [1, 1, -1, -1, 0, 0, 0, 0], [0, 0, 0, 0, 1, 1, -1, -1],
        [1, -1, 0, 0, 0, 0, 0, 0], [0, 0, 1, -1, 0, 0, 0, 0],
        [0, 0, 0, 0, 1, -1, 0, 0], [0, 0, 0, 0, 0, 0, 1, -1],
    ])
    basis = composition_stats.sbp_basis(partition)
    for seed in range(5):
        parts = composition_stats.closure(np.random.Generator(np.random.PCG64(seed)).gamma(3.0, size=8))
        yield {"parts": parts.tolist(), "balances": composition_stats.ilr(parts, basis=basis).tolist()}


def quantiles():
    """scipy.stats: norm, t, lognorm."""
    for p in (1e-12, 1e-4, 0.03, 0.2, 0.5, 0.77, 0.995):
        yield {
            "p": p, "normal": float(stats.norm.ppf(p)), "log_normal": float(stats.lognorm.ppf(p, 0.4, scale=3.0)),
            "student": [[v, float(stats.t.ppf(p, v))] for v in (1.0, 2.5, 4.0, 12.0, 200.0)],
        }


def cusum_chain(reference, limit, shift, states):
    """Brook & Evans (1972): the one-sided CUSUM as a Markov chain on `states` cells."""
    width = 2 * limit / (2 * states - 1)
    centres = width * np.arange(states)
    upper = centres[None, :] - centres[:, None] + reference - shift + width / 2
    transition = stats.norm.cdf(upper) - stats.norm.cdf(upper - width)
    transition[:, 0] = stats.norm.cdf(upper[:, 0])
    return np.linalg.solve(np.eye(states) - transition, np.ones(states))[0]


def ewma_chain(weight, width, shift, states):
    """Lucas & Saccucci (1990): the two-sided EWMA as a Markov chain on an odd number of cells."""
    limit = width * math.sqrt(weight / (2 - weight))
    cell = 2 * limit / states
    centres = -limit + cell * (np.arange(states) + 0.5)
    low = (centres[None, :] - cell / 2 - (1 - weight) * centres[:, None]) / weight - shift
    transition = stats.norm.cdf(low + cell / weight) - stats.norm.cdf(low)
    return np.linalg.solve(np.eye(states) - transition, np.ones(states))[states // 2]


def extrapolated(chain, states):
    """The error of a chain falls with the square of the cell: two sizes give the limit (Richardson)."""
    coarse, fine = chain(states), chain(2 * states + 1)
    ratio = ((2 * states + 1) / states) ** 2
    return float(fine + (fine - coarse) / (ratio - 1))


def run_lengths():
    """Markov chains, another method than the integral equations of the program."""
    for k, h, shift in ((0.5, 4.0, 0.0), (0.5, 4.0, 1.0), (0.25, 6.0, 0.3), (0.75, 3.0, 2.0), (1.0, 2.5, 0.0)):
        yield {"cusum": [k, h, shift], "one_sided": extrapolated(lambda n: cusum_chain(k, h, shift, n), 401)}
    for weight, width, shift in ((0.1, 2.7, 0.0), (0.2, 2.962, 0.5), (0.4, 3.0, 1.5)):
        yield {"ewma": [weight, width, shift], "two_sided": extrapolated(lambda n: ewma_chain(weight, width, shift, n), 401)}


def infiltrations():
    """scipy.integrate.solve_ivp on dF/dt = K (1 + D (psi + head)/F), the head falling as water goes in or not."""
    for k, psi, deficit, head in ((1.09, 11.01, 0.206, 5.0), (0.03, 31.63, 0.1925, 2.0), (11.78, 4.95, 0.2085, 10.0)):
        start = 1e-6
        begun = start * start / (2 * k * deficit * (psi + head))
        dry = integrate.solve_ivp(
            lambda t, f: k * (1 + deficit * (psi + head - f) / f), (begun, 1e4), [start],
            events=_event(lambda t, f: f[0] - head), rtol=1e-11, atol=1e-13, method="DOP853",
        ).t_events[0][0]
        sheet_begun = start * start / (2 * k * deficit * psi)
        sheet = integrate.solve_ivp(
            lambda t, f: k * (1 + deficit * psi / f), (sheet_begun, 1.0), [start], rtol=1e-11, atol=1e-13, method="DOP853",
        ).y[0][-1]
        yield {"soil": [k, psi, deficit], "head": head, "time_to_dry": float(dry), "sheet_1h": float(sheet)}


def _event(function):
    function.terminal = True
    return function


def recessions():
    """scipy.optimize.curve_fit of a + b exp(-t/tau) to the samples themselves."""
    def curve(t, a, b, log_tau):
        return a + b * np.exp(-t / np.exp(log_tau))

    for seed, tau, hours in ((1, 2.0, 12.0), (2, 6.0, 24.0), (3, 5.0, 10.0)):
        t = np.arange(0, hours, 1 / 12)
        noise = np.random.Generator(np.random.PCG64(seed)).normal(size=t.size)
        y = np.round(0.21 + 0.09 * np.exp(-t / tau) + 0.002 * noise, 5)
        best, covariance = optimize.curve_fit(curve, t, y, p0=(0.2, 0.1, math.log(4)))
        yield {
            "step": 1 / 12, "values": y.tolist(), "asymptote": float(best[0]), "amplitude": float(best[1]),
            "time_constant": float(np.exp(best[2])), "log_deviation": float(math.sqrt(covariance[2, 2])),
        }


def deviations():
    """scipy.stats.median_abs_deviation, scaled to the normal."""
    for seed, count in ((1, 7), (2, 10), (3, 101)):
        values = series(seed, count, 0.0, 4)
        yield {
            "values": values, "median": float(np.median(values)),
            "deviation": float(stats.median_abs_deviation(values, scale="normal")),
        }


def changes():
    """ruptures.Dynp, least squares, one change: the best split of the whole series."""
    for seed, before, after, step in ((1, 30, 12, 4.0), (2, 60, 20, -5.0), (3, 12, 40, 6.0)):
        noise = np.random.Generator(np.random.PCG64(seed)).normal(size=before + after)
        values = np.round(noise + step * (np.arange(before + after) >= before), 4)
        split = ruptures.Dynp(model="l2", min_size=1, jump=1).fit(values).predict(n_bkps=1)[0]
        yield {"values": values.tolist(), "split": int(split)}


def compute():
    quantities = (trends, balances, quantiles, run_lengths, infiltrations, recessions, deviations, changes)
    return {f.__name__: {"source": f.__doc__, "cases": list(f())} for f in quantities}


def laid_out(computed):
    """One case to a line."""
    blocks = []
    for name, quantity in computed.items():
        cases = ",\n".join(json.dumps(case) for case in quantity["cases"])
        blocks.append(f'"{name}": {{"source": {json.dumps(quantity["source"])}, "cases": [\n{cases}\n]}}')
    return "{\n" + ",\n".join(blocks) + "\n}\n"


def differences(a, b, path=""):
    if isinstance(a, dict) and isinstance(b, dict) and a.keys() == b.keys():
        for key in a:
            yield from differences(a[key], b[key], f"{path}/{key}")
    elif isinstance(a, list) and isinstance(b, list) and len(a) == len(b):
        for i, (x, y) in enumerate(zip(a, b)):
            yield from differences(x, y, f"{path}/{i}")
    elif isinstance(a, float) and isinstance(b, (int, float)):
        if not math.isclose(a, b, rel_tol=1e-6, abs_tol=1e-9):
            yield f"{path}: stored {b}, computed {a}"
    elif a != b:
        yield f"{path}: stored {b}, computed {a}"


def main():
    warnings.simplefilter("ignore", RuntimeWarning)
    computed = json.loads(json.dumps(compute()))
    if sys.argv[1:] == ["--write"]:
        FILE.write_text(laid_out(computed))
        return 0
    found = list(differences(computed, json.loads(FILE.read_text())))
    print("\n".join(found) or f"{FILE.name}: every value confirmed")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
