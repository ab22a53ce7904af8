#!/usr/bin/python3
"""Fits one recorded sweep the way a practitioner would: load the columns, solve by least squares, print JSON.

The reading at spindle angle th is  c + r*(tilt*cos th + nod*sin th),  so the coefficients of cos and sin over the radius are
the slopes. Angles in degrees, readings and radius in mm, result in mm/m.
"""
import argparse
import json

import numpy as np


def main():
    args = argparse.ArgumentParser(description=__doc__)
    args.add_argument("file", help="CSV with a header row: t_s,angle_deg,reading_mm")
    args.add_argument("--radius", type=float, required=True, metavar="MM")
    args = args.parse_args()

    deg, mm = np.loadtxt(args.file, delimiter=",", skiprows=1, usecols=(1, 2), unpack=True)
    th = np.radians(deg)
    design = np.column_stack((np.ones_like(th), np.cos(th), np.sin(th)))
    (offset, a, b), *_ = np.linalg.lstsq(design, mm, rcond=None)
    left = mm - design @ (offset, a, b)
    print(json.dumps({
        "tilt_mm_per_m": a / args.radius * 1000,
        "nod_mm_per_m": b / args.radius * 1000,
        "offset_mm": offset,
        "residual_rms_mm": float(np.sqrt(np.mean(left * left))),
        "readings": len(mm),
    }))


if __name__ == "__main__":
    main()
