"""The same samples in scipy and statsmodels, general-purpose libraries: every figure must come out the same.

Usage: scipy_check.py SAMPLES.json

Fits are compared by likelihood, since that is what both maximise: ours may not be lower than scipy's by more than 1e-4 (scipy's
simplex often ends early, so ours may be higher), and parameters wherever both ended at the same likelihood. The other tolerances
stand beside each comparison; the largest difference of each is printed.
"""

import json
import math
import sys
import warnings

import numpy as np
from scipy import stats
from statsmodels.stats.diagnostic import acorr_ljungbox
from statsmodels.tsa.stattools import kpss

warnings.simplefilter("ignore")
largest, counted, wrong = {}, {}, []


def hold(what, ours, theirs, tolerance, where):
    difference = abs(ours - theirs)
    largest[what] = max(largest.get(what, (0.0, 0)), (difference, tolerance))
    counted[what] = counted.get(what, 0) + 1
    if not difference <= tolerance:
        wrong.append(f"{what} of {where}: {ours} here, {theirs} there")


def hold_fit(what, ours, theirs, where):
    """Log-likelihoods; ours may be higher without limit, and is expected to be."""
    hold(f"{what}, log-likelihood below theirs", max(theirs - ours, 0.0), 0.0, 1e-4, where)
    hold(f"{what}, log-likelihood above theirs", max(ours - theirs, 0.0), 0.0, math.inf, where)
    return ours - theirs


def polished(family, values, start):
    """scipy's own fit, begun again from where it ends until it stands still."""
    fixed = {"floc": 0} if family is stats.genpareto else {}
    best = None
    for shape in start:
        fit = family.fit(values, *shape, **fixed)
        for _ in range(4):
            fit = family.fit(values, *fit[:-2], loc=fit[-2], scale=fit[-1], **fixed)
        value = -family.nnlf(fit, values)
        if best is None or value > best[0]:
            best = (value, fit)
    return best


def halves_p(statistic, n, m):
    """The p value of Stephens' formula, by scipy's distribution of the limit."""
    root = math.sqrt(n * m / (n + m))
    return float(stats.kstwobign.sf((root + 0.12 + 0.11 / root) * statistic))


def kendall(values):
    """Mann and Kendall from the definition: pairs one by one, ties by counting."""
    n = len(values)
    s = int(sum(np.sign(values[k + 1:] - values[k]).sum() for k in range(n - 1)))
    ties = np.unique(values, return_counts=True)[1]
    variance = (n * (n - 1) * (2 * n + 5) - int((ties * (ties - 1) * (2 * ties + 5)).sum())) / 18
    return s, 2 * float(stats.norm.sf(max(abs(s) - 1, 0) / math.sqrt(variance)))


def check_sample(number, sample):
    values = np.array(sample["values"])
    floats = values.astype(float)
    if sample["gev"]:
        location, scale, shape = sample["gev"]["parameters"]
        mine = stats.genextreme(-shape, location, scale)
        hold("GEV log-likelihood at our parameters", sample["gev"]["log_likelihood"], float(mine.logpdf(floats).sum()), 1e-6, number)
        hold("GEV Kolmogorov distance", sample["gev"]["kolmogorov"], float(stats.kstest(floats, mine.cdf).statistic), 1e-9, number)
        u = np.sort(mine.cdf(floats))
        k = np.arange(1, len(u) + 1)
        anderson = -len(u) - float(((2 * k - 1) * (np.log(u) + np.log1p(-u[::-1]))).sum()) / len(u)
        hold("GEV Anderson-Darling distance", sample["gev"]["anderson"], anderson, 1e-6, number)
        theirs, (c, loc, s) = polished(stats.genextreme, floats, [(0.1,), (-0.1,)])
        if hold_fit("GEV", sample["gev"]["log_likelihood"], theirs, number) < 1e-4:
            hold("GEV shape", shape, -c, 2e-3, number)
            hold("GEV location over scale", location / scale, loc / scale, 2e-2, number)
    location, scale, value = sample["gumbel"]
    theirs, (loc, s) = polished(stats.gumbel_r, floats, [()])
    hold_fit("Gumbel", value, theirs, number)
    hold("Gumbel scale, relative", scale / s, 1.0, 1e-5, number)
    if sample["gpd"]:
        scale, shape, value = sample["gpd"]
        excesses = floats[floats > sample["threshold"]] - sample["threshold"]
        mine = float(stats.genpareto(shape, 0, scale).logpdf(excesses).sum())
        hold("GPD log-likelihood at our parameters", value, mine, 1e-6, number)
        theirs, (c, _, s) = polished(stats.genpareto, excesses, [(0.1,), (-0.1,)])
        if hold_fit("GPD", value, theirs, number) < 1e-4:
            hold("GPD shape", shape, c, 2e-3, number)
            hold("GPD scale, relative", scale / s, 1.0, 5e-3, number)
    box = acorr_ljungbox(floats, lags=[10])
    hold("Ljung-Box, relative", sample["ljung_box"][0] / float(box["lb_stat"].iloc[0]), 1.0, 1e-9, number)
    hold("Ljung-Box p", sample["ljung_box"][1], float(box["lb_pvalue"].iloc[0]), 1e-9, number)
    s, p = kendall(values)
    hold("Mann-Kendall", sample["mann_kendall"][0], s, 0, number)
    hold("Mann-Kendall p", sample["mann_kendall"][1], p, 1e-9, number)
    half = len(values) // 2
    statistic = float(stats.ks_2samp(values[:half], values[half:], method="asymp").statistic)
    hold("KS of the halves", sample["halves"][0], statistic, 2e-9, number)
    hold("KS of the halves p", sample["halves"][1], halves_p(sample["halves"][0], half, len(values) - half), 1e-9, number)
    lags = int(4 * (len(values) / 100) ** 0.25)
    hold("KPSS", sample["kpss"], float(kpss(floats, regression="c", nlags=lags)[0]), 1e-9, number)


def main():
    with open(sys.argv[1]) as file:
        cases = json.load(file)
    for number, sample in enumerate(cases["samples"]):
        check_sample(number, sample)
    for hits, trials, one_in, low, high in cases["proportions"]:
        theirs_low = float(stats.beta.ppf(1 / one_in, hits, trials - hits + 1)) if hits else 0.0
        theirs_high = float(stats.beta.isf(1 / one_in, hits + 1, trials - hits)) if hits < trials else 1.0
        hold("binomial lower end", low / 1e9, theirs_low, 2e-9, (hits, trials, one_in))
        hold("binomial upper end", high / 1e9, theirs_high, 2e-9, (hits, trials, one_in))
    for n, one_in, ppb in cases["critical"]:
        # Beyond 140 values scipy turns to an approximation of about five digits (Pelz and Good 1976).
        what, tolerance = ("Kolmogorov critical value", 2e-9) if n <= 140 else ("Kolmogorov critical value beyond 140 values", 5e-7)
        hold(what, ppb / 1e9, float(stats.kstwo.isf(1 / one_in, n)), tolerance, (n, one_in))
    for what, (difference, tolerance) in sorted(largest.items()):
        allowed = "any" if tolerance == math.inf else f"{tolerance:g}"
        print(f"{what}: largest difference {difference:.3g}, allowed {allowed}, compared {counted.get(what, 0)} times")
    print(f"{len(cases['samples'])} samples, {sum(counted.values())} comparisons, {len(wrong)} differ")
    print("\n".join(wrong[:20]))
    sys.exit(1 if wrong else 0)


main()
