package main

import (
	"io"

	"tramd/sweep"
)

// defaultModel is what `tramd fit` uses unless told otherwise.
const defaultModel = sweep.ModelPlain

// bestFit is the model that runs are concluded by.
func bestFit(pts []sweep.Point, setup sweep.Setup) (sweep.Result, error) {
	return sweep.FitPlain(pts, setup)
}

// fitFullCSV fits one recorded sweep by the best model.
func fitFullCSV(r io.Reader, setup sweep.Setup) (sweep.Result, error) {
	return sweep.FitPlainCSV(r, setup)
}
