"""The same fits with SciPy, for comparison of speed and of results.

Draws decays (two exponentials, 4,096 channels, 10,000 counts at the peak, a Gaussian response 19 channels wide), writes them into the file
named on the command line, fits each by scipy.optimize.least_squares with reconvolution by FFT, and prints times and means. The benchmark
BenchmarkPeer of this package then fits the decays of that file:

    OMP_NUM_THREADS=1 python3 reconvolution.py /tmp/decays.csv
    FASCICLE_PEER=/tmp/decays.csv go test -run '^$' -bench Peer ./stages/lifetime

Times are of the processor, so that other work on the machine matters less.

SciPy's fits begin at fixed, ordinary guesses, at lifetimes half again and two thirds of the true ones. Residuals are square roots of the
deviance's terms with their sign, so that the minimum is that of the Poisson likelihood; derivatives are SciPy's usual differences.
Needs NumPy and SciPy; nothing of the program does.
"""
import sys
import time

import numpy as np
from scipy.optimize import least_squares
from scipy.special import erfc, xlogy

N, MU, SIGMA, SHIFT, BACKGROUND = 4096, 300.0, 8.0, 1.37, 5.0
TAU, AMP = (80.0, 320.0), (6900.0, 4600.0)


def emg(t, mu, sigma, tau):
    return np.exp(np.minimum(sigma**2 / (2 * tau**2) - (t - mu) / tau, 500)) * erfc((sigma / tau - (t - mu) / sigma) / np.sqrt(2)) / 2


t = np.arange(N, dtype=float)
response = np.round(1e6 * np.exp(-((t - MU) / SIGMA) ** 2 / 2))
means = BACKGROUND + sum(a * emg(t, MU + SHIFT, SIGMA, tau) for a, tau in zip(AMP, TAU))
rng = np.random.default_rng(20240501)
decays = [rng.poisson(means).astype(float) for _ in range(int(sys.argv[2]) if len(sys.argv) > 2 else 20)]
np.savetxt(sys.argv[1], np.column_stack([response] + decays), fmt="%d", delimiter=",")

padded = 2 * N
R = np.fft.rfft(response / response.sum(), padded)
freq = np.fft.rfftfreq(padded)


def model(p):
    tau1, tau2, a1, a2, shift, b = p
    e = a1 * np.exp(-t / tau1) + a2 * np.exp(-t / tau2)
    e[0] *= 0.5  # trapezoid at the jump
    return b + np.fft.irfft(np.fft.rfft(e, padded) * R * np.exp(-2j * np.pi * freq * shift), padded)[:N]


def residuals(p, n):
    m = np.maximum(model(p), 1e-8)
    return np.sign(n - m) * np.sqrt(np.maximum(2 * (m - n + xlogy(n, n / m)), 0))


start = [53.0, 480.0, 5000.0, 5000.0, 0.0, 3.0]
bounds = ([0.1, 0.1, 0, 0, -50, 0], [2e5, 2e5, np.inf, np.inf, 50, np.inf])
results, times, evaluations = [], [], []
for n in decays:
    began = time.process_time()
    fit = least_squares(residuals, start, bounds=bounds, x_scale="jac", args=(n,))
    times.append(time.process_time() - began)
    evaluations.append(fit.nfev)
    results.append(np.concatenate([fit.x, [2 * fit.cost]]))
print("peak", means.max(), "evaluations", np.mean(evaluations))
print("ms a fit: median %.2f, least %.2f" % (1e3 * np.median(times), 1e3 * min(times)))
for i in range(min(3, len(results))):
    print("decay", i, "tau1 %.5f tau2 %.5f a1 %.3f a2 %.3f shift %.5f b %.5f deviance %.4f" % tuple(results[i]))
