#!/usr/bin/python3
"""Maximum likelihood of the two-state clock in statsmodels (Debian: python3-statsmodels).

Reads days, error and standard deviation of the readings from the file named
and prints how long fit and smoothing took, without a forecast. The model is that
of internal/posterior without further columns: states error and rate, transition
[[1, d], [0, 1]] over d days, process noise from white and random-walk frequency
noise, one factor on the stated standard deviations, exactly diffuse start.
"""
import sys
import time

import numpy as np
from statsmodels.tsa.statespace.mlemodel import MLEModel


class Clock(MLEModel):
    def __init__(self, t, y, sd):
        super().__init__(y, k_states=2, initialization="diffuse", loglikelihood_burn=0)
        self.d = np.append(np.diff(t), 1.0)
        self.var = sd**2
        n = len(t)
        self["design"] = np.array([[1.0, 0.0]])
        self["selection"] = np.eye(2)
        transition = np.zeros((2, 2, n))
        transition[0, 0] = transition[1, 1] = 1
        transition[0, 1] = self.d
        self["transition"] = transition
        self["state_cov"] = np.zeros((2, 2, n))
        self["obs_cov"] = np.zeros((1, 1, n))

    @property
    def start_params(self):
        return np.log([0.2, 0.026, 1.0])

    def update(self, params, **kwargs):
        params = super().update(params, **kwargs)
        w, r, k = np.exp(2 * np.asarray(params))
        d = self.d
        cross = r * d**2 / 2
        self["state_cov"] = np.array([[w * d + r * d**3 / 3, cross], [cross, r * d]])
        self["obs_cov"] = (k * self.var).reshape(1, 1, -1)


def main():
    data = np.loadtxt(sys.argv[1], delimiter=",")
    model = Clock(data[:, 0], data[:, 1], data[:, 2])
    for name, how in {"as it comes": {}, "Nelder-Mead, no covariance": {"method": "nm", "maxiter": 1000, "cov_type": "none"}}.items():
        times = []
        for _ in range(7):
            begun = time.perf_counter()
            fit = model.fit(disp=False, **how)
            times.append(1000 * (time.perf_counter() - begun))
        w, r, k = np.exp(fit.params)
        print(f"statsmodels, {name}: log-likelihood {fit.llf:.6f}, sigma_w {w:.5f}, sigma_r {r:.5f}, kappa {k:.4f}, "
              f"median {sorted(times)[3]:.1f} ms of seven")


main()
