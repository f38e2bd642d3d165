#!/usr/bin/python3
"""Maximum likelihood of the two-state clock in statsmodels (Debian: python3-statsmodels).

Reads days, error and standard deviation, one reading a day, from the file
named and prints how long fit, smoothing and a 60-day forecast took. The model
is that of internal/rating without further columns: states error and rate,
transition [[1, 1], [0, 1]], process noise from white and random-walk frequency
noise, one factor on the stated standard deviation, exactly diffuse start.
"""
import sys
import time

import numpy as np
from statsmodels.tsa.statespace.mlemodel import MLEModel


class Clock(MLEModel):
    def __init__(self, y, sd):
        super().__init__(y, k_states=2, initialization="diffuse", loglikelihood_burn=0)
        self.sd = sd
        self["design"] = np.array([[1.0, 0.0]])
        self["transition"] = np.array([[1.0, 1.0], [0.0, 1.0]])
        self["selection"] = np.eye(2)

    @property
    def start_params(self):
        return np.log([0.2, 0.026, 1.0])

    def update(self, params, **kwargs):
        params = super().update(params, **kwargs)
        w, r, k = np.exp(2 * np.asarray(params))
        self["state_cov"] = np.array([[w + r / 3, r / 2], [r / 2, r]])
        self["obs_cov"] = np.array([[k * self.sd**2]])


def main():
    data = np.loadtxt(sys.argv[1], delimiter=",")
    model = Clock(data[:, 1], data[0, 2])
    times = []
    for _ in range(5):
        begun = time.perf_counter()
        fit = model.fit(method="nm", maxiter=1000, disp=False, cov_type="none")
        fit.get_forecast(60).conf_int()
        times.append(1000 * (time.perf_counter() - begun))
    w, r, k = np.exp(fit.params)
    print(f"statsmodels: log-likelihood {fit.llf:.6f}, sigma_w {w:.5f}, sigma_r {r:.5f}, kappa {k:.4f}, "
          f"{fit.mle_retvals['fcalls']} likelihoods, median {sorted(times)[2]:.1f} ms of five")


main()
