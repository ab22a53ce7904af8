"""Makes drift_structural.json: run with Debian's python3-statsmodels, in this folder: /usr/bin/python3 drift_structural.py

Simulated series of daily checks, in units of the irregular's standard deviation, and what statsmodels' structural time series
(UnobservedComponents: a local linear trend whose slope is constant, "lldtrend"; an intervention is a regressor) says of them
(Seabold and Perktold 2010, Proceedings of the 9th Python in Science Conference): filtered at the true variances, and fitted by
maximum likelihood.
"""
import json

import numpy as np
import statsmodels
from statsmodels.tsa.statespace.structural import UnobservedComponents

rng = np.random.default_rng(20261130)
out = {"source": "statsmodels " + statsmodels.__version__ + " by drift_structural.py", "series": []}
for name, n, wander, slope, step_at, step in (
    ("wanders", 150, 0.3, 0.0, None, 0.0),
    ("trends and wanders", 150, 0.3, 0.15, None, 0.0),
    ("trends and wanders a little", 100, 0.15, -0.08, None, 0.0),
    ("steps, and goes on", 120, 0.2, 0.05, 60, 6.0),
):
    time = np.arange(n)
    after = (time >= step_at).astype(float) if step_at is not None else None
    level = slope * time + np.cumsum(wander * rng.standard_normal(n))
    y = np.round(level + rng.standard_normal(n) + (step * after if after is not None else 0), 4)

    def model():
        m = UnobservedComponents(y, level="lldtrend", exog=after, mle_regression=False)
        m.ssm.initialize_approximate_diffuse(1e8)
        return m

    known = model().smooth([1.0, wander**2])
    fitted = model().fit(disp=False, maxiter=500)
    state, cov = known.filtered_state[:, -1], known.filtered_state_cov[:, :, -1]
    now, spread = fitted.filtered_state[:, -1], fitted.filtered_state_cov[:, :, -1]

    def lean(state, cov):
        """The level with the intervention in it, and its standard error."""
        a = np.array([1.0, 0.0] + [1.0] * (len(state) - 2))
        return float(a @ state), float(np.sqrt(a @ cov @ a))

    known_level, known_level_se = lean(state, cov)
    level_now, level_se = lean(now, spread)
    out["series"].append({
        "name": name, "y": y.tolist(), "wander": wander, "step_at": -1 if step_at is None else step_at,
        "known": {"level": known_level, "level_se": known_level_se, "slope": float(state[1]), "slope_se": float(np.sqrt(cov[1, 1]))},
        "fitted": {
            "level": level_now, "level_se": level_se, "slope": float(now[1]), "slope_se": float(np.sqrt(spread[1, 1])),
            "irregular": float(fitted.params[0]), "irregular_se": float(fitted.bse[0]),
            "level_variance": float(fitted.params[1]), "level_variance_se": float(fitted.bse[1]),
        },
    })
json.dump(out, open("drift_structural.json", "w"), indent=1)
