"""Makes mixed_statespace.json: run with Debian's python3-statsmodels, in this folder: /usr/bin/python3 mixed_statespace.py

The data are the yearly flow of the Nile at Aswan, 1871 to 1970 (Durbin and Koopman 2012, Time series analysis by state space methods,
2nd edition), as in drift_nile.csv, less their mean. The model is an autoregression of order one seen through white noise, whose
likelihood statsmodels' general Kalman filter gives (Seabold and Perktold 2010, Proceedings of the 9th Python in Science Conference).
"""
import csv
import json

import numpy as np
import statsmodels
from statsmodels.tsa.statespace.sarimax import SARIMAX

rows = [row for row in csv.reader(open("drift_nile.csv")) if row and not row[0].startswith("#")]
values = np.array([float(row[-1]) for row in rows if row[-1].replace(".", "", 1).isdigit()])
assert len(values) == 100, len(values)
values = values - values.mean()
out = {"source": "statsmodels " + statsmodels.__version__ + " by mixed_statespace.py", "y": values.tolist(), "cases": []}
for phi, white, drive in ((0.9, 15000.0, 1500.0), (0.5, 5000.0, 12000.0), (0.99, 20000.0, 300.0)):
    model = SARIMAX(values, order=(1, 0, 0), measurement_error=True)
    # parameters: autoregression, variance of the white noise of the readings, variance of the drive
    names = model.param_names
    params = {"ar.L1": phi, "var.measurement_error": white, "sigma2": drive}
    fit = model.filter([params[n] for n in names])
    out["cases"].append({
        "phi": phi, "white": white, "drive": drive, "log_likelihood": float(fit.llf),
        "standardized_innovations": np.asarray(fit.filter_results.standardized_forecasts_error[0]).tolist(),
    })
json.dump(out, open("mixed_statespace.json", "w"), indent=1)
