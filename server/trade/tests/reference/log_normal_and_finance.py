"""Writes log_normal.csv and capital_recovery.csv. Run: python log_normal_and_finance.py"""
import numpy_financial as npf
import numpy as np
import scipy
from scipy.stats import lognorm

with open("log_normal.csv", "w") as out:
    out.write(f"# scipy {scipy.__version__}\n")
    out.write("median,sigma,p,quantile,mean,deviation,chance_within_twice\n")
    for median in (0.5, 27.5, 240.0):
        for sigma in (0.05, 0.15, 0.3, 0.6, 1.2):
            law = lognorm(s=sigma, scale=median)
            for p in (0.01, 0.1, 0.5, 0.8, 0.95, 0.99):
                out.write(",".join(repr(float(v)) for v in (
                    median, sigma, p, law.ppf(p), law.mean(), law.std(), law.cdf(2.0 * median))) + "\n")

with open("capital_recovery.csv", "w") as out:
    out.write(f"# numpy_financial {npf.__version__}\n")
    out.write("rate,years,factor\n")
    for rate in (0.0, 0.01, 0.05, 0.06, 0.08, 0.12, 0.25):
        for years in (1, 2, 5, 7, 10, 15, 30):
            out.write(f"{rate!r},{years},{float(-npf.pmt(rate, years, 1.0))!r}\n")

# A sum of correlated log-normals by simulation, for the moment matching.
rng = np.random.default_rng(7)
medians = np.array([2.5, 3.0, 8.0, 6.0, 4.0, 1.7, 1.4])
sigmas = np.array([0.3, 0.28, 0.36, 0.25, 0.25, 0.28, 0.3])
with open("sum_of_log_normals.csv", "w") as out:
    out.write(f"# numpy {np.__version__}, 4,000,000 draws, seed 7\n")
    out.write("correlation,mean,deviation,p50,p80,p95\n")
    for correlation in (0.0, 0.3, 0.9):
        # Correlation of the durations themselves, brought about through that of their logarithms.
        ones = np.ones((7, 7)) * correlation + np.eye(7) * (1 - correlation)
        outer = np.sqrt(np.outer(np.expm1(sigmas**2), np.expm1(sigmas**2)))
        logs = np.log1p(ones * outer)
        draws = np.zeros(0)
        for _ in range(8):
            z = rng.multivariate_normal(np.log(medians), logs, size=500_000)
            draws = np.append(draws, np.exp(z).sum(axis=1))
        q = np.quantile(draws, (0.5, 0.8, 0.95))
        out.write(",".join(repr(float(v)) for v in (correlation, draws.mean(), draws.std(), *q)) + "\n")
