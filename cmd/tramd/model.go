package main

import (
	"io"

	"tramd/sweep"
	"tramd/sweep/mixed"
)

// defaultModel is what `tramd fit` uses by default. Runs are always concluded by it.
const defaultModel = mixed.Model

// bestFit is the model that runs are concluded by.
func bestFit(pts []sweep.Point, setup sweep.Setup) (sweep.Result, error) {
	return mixed.Fit(pts, setup)
}

// fitFullCSV fits one recorded sweep by the full model, which needs all of it at once.
func fitFullCSV(r io.Reader, setup sweep.Setup) (sweep.Result, error) {
	pts, err := sweep.ReadPoints(r, setup)
	if err != nil {
		return sweep.Result{}, err
	}
	return bestFit(pts, setup)
}
