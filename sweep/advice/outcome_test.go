package advice_test

import (
	"fmt"
	"math"
	"testing"
)

// outcome is what a family came to.
type outcome struct {
	mean, in3, in4      float64
	again, againIn3     float64 // the same machine, knocked out of true and met again
	plainMean, plainIn4 float64
	missed              int
	claimed, came, n    float64
	held, of            float64
}

func one(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

func (o outcome) row(name string) string {
	return fmt.Sprintf("| %s | %.2f | %.1f %% | %.1f %% | %.2f | %.2f | %.1f %% | %d | %.2f / %.2f | %.0f %% |\n", name,
		o.mean, 100*o.in3, 100*o.in4, o.again,
		o.plainMean, 100*o.plainIn4, o.missed, o.claimed/o.n, o.came/o.n, 100*o.held/o.of)
}

func (o *outcome) add(x outcome, part float64) {
	o.mean += x.mean * part
	o.in3 += x.in3 * part
	o.in4 += x.in4 * part
	o.again += x.again * part
	o.againIn3 += x.againIn3 * part
	o.plainMean += x.plainMean * part
	o.plainIn4 += x.plainIn4 * part
	o.missed += x.missed
	o.held += x.held
	o.of += x.of
	o.claimed += x.claimed
	o.came += x.came
	o.n += x.n
}

const header = "| machines | adjustments, mean | within 3 | within 4 | met before, mean | worse axis by nominal effects, mean | within 4 | stopped while outside | chance said / came true | effects within twice their u |\n|---|---|---|---|---|---|---|---|---|---|\n"

// promise holds an outcome against what the adviser is for.
func (o outcome) promise(t testing.TB) {
	t.Helper()
	if o.mean > 2.8 || o.in4 < 0.95 || o.in3 < 0.87 {
		t.Errorf(
			"%.2f adjustments on average, %.1f %% within 3, %.1f %% within 4; wanted 2.8 at most, 87 %% and 95 %% at least", o.mean, 100*o.in3, 100*o.in4)
	}
	if o.again > 2 {
		t.Errorf("%.2f adjustments on average on a machine met before; wanted 2.0 at most", o.again)
	}
	if o.plainMean < 1.3*o.mean {
		t.Errorf("the worse axis by nominal effects took %.2f, the adviser %.2f: what is it for?", o.plainMean, o.mean)
	}
	if o.held/o.of < 0.93 {
		t.Errorf("%.1f %% of the effects lay within twice their stated uncertainty; wanted 93 %% at least",
			100*o.held/o.of)
	}
	if math.Abs(o.claimed-o.came)/o.n > 0.08 {
		t.Errorf("the adviser promised %.2f and %.2f came true", o.claimed/o.n, o.came/o.n)
	}
}
