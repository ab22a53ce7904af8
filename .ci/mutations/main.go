// Command mutations spoils the measurement model in one spot after another and says which test notices:
//
//	go run ./.ci/mutations [NAME...]
//
// Each mutation changes one piece of text in one file, by the go command's overlay, which leaves the files on disk
// alone. A mutation that no test of its packages notices makes the program fail. Where the test
// that noticed it the last time is known it runs first, in seconds; the others take minutes each.
package main

import (
	"fmt"
	"log"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"

	"tramd/.ci/overlay"
)

const (
	model  = "sweep/mixed/"
	belief = "sweep/uncertainty/"
)

// mutation replaces was, which stands in the file once, by is. By names the tests that are run first, since they
// noticed it the last time; where they do not, all are run.
type mutation struct {
	name, file, was, is, by string
}

var mutations = []mutation{
	{"covariance-sign", model + "posterior.go", "p.cov[1] = -p.s2", "p.cov[1] = p.s2", "TestAgainstAMixedModelLibrary"},
	{"common-parts-sign", model + "conclude.go", "cov[1] += common", "cov[1] -= common", "TestCommonPartsCorrelate"},
	{"interval-wider", model + "conclude.go", "half[i] = all.", "half[i] = 1.25 * all.", "TestCommonPartsCorrelate"},
	{"interval-narrower", model + "conclude.go", "half[i] = all.", "half[i] = 0.8 * all.", "TestCommonPartsCorrelate"},
	{"known-part-forgotten", model + "conclude.go", "return all.With(covarianceOf(known)), known", "return all, known", "TestCommonPartsCorrelate"},
	{"dof-infinite", model + "conclude.go", "r.DoF = math.Min(r.DoF, all.Freedom(i))", "_ = all.Freedom(i)", "TestFewStationsHaveFewDegreesOfFreedom"},
	{"play-never", model + "direction.go", "const playOdds = 0.0", "const playOdds = 30.0", "TestPlungerThatDoesNotMove"},
	{"plunger-always-moves", model + "stuck.go", "if f.lost = term.Weight / all; f.lost", "if f.lost = 0; f.lost", "TestPlungerThatDoesNotMove"},
	{"play-share-0", model + "components.go", "0.08             // share", "0.0              // share", "TestPlayIsInTheBudget"},
	{"lost-motion-5-times", model + "direction.go", "lostMotionSD = 3.0 ", "lostMotionSD = 15.0 ", "TestPlayIsBelievedToBeSomeSteps"},
	{"delay-5-times", model + "direction.go", "delaySD      = 0.1 ", "delaySD      = 0.5 ", "TestDelayStaysWithinBelief"},
	{"knock-proof-5-times", model + "knock.go", "knockProof = 3.0 ", "knockProof = 15.0 ", "TestCrossed"},
	{"least-knock-5-times", model + "knock.go", "leastKnock = 8.0 ", "leastKnock = 40.0 ", "TestKnocksThatUndoEachOther"},
	{"arc-5-times", model + "reject.go", "shallowGrains         = 6.0", "shallowGrains         = 30.0", "TestWrittenOtherwise"},
	{"far-5-times", model + "reject.go", "far := math.Max(5*s.scale", "far := math.Max(25*s.scale", "TestWrittenOtherwise"},
	{"spike-5-times", model + "reject.go", "limit := 4*math.Max(in.scatter", "limit := 20*math.Max(in.scatter", "TestJoinSwings"},
	{"station-5-times", model + "reject.go", "math.Abs(worst.r) < 8*scale", "math.Abs(worst.r) < 40*scale", "TestAStationOnAChipIsLeftOut"},
	{"wave-odds-5-times", model + "part_find.go", "waveOdds   = -8.0", "waveOdds   = -40.0", ""},
	{"dent-odds-5-times", model + "part_find.go", "dentOdds   = -4.0", "dentOdds   = -20.0", ""},
	{"no-dents", model + "part_hump.go", "{f.likeliestDent, f.likeliestBump}", "{f.likeliestBump}", ""},
	{"no-bumps", model + "part_hump.go", "{f.likeliestDent, f.likeliestBump}", "{f.likeliestDent}", ""},
	{"finer-form-forgotten", model + "part_hump.go", "finer = math.Max(finer, behind+f.finerForm", "finer = math.Max(finer, -1e9+f.finerForm", ""},
	{"parts-not-averaged", model + "average.go", "f.ans = summarise(pool)", "f.ans = summarise(append([]point(nil), main.points...))", ""},
	{"band-proof-5-times", model + "band_find.go", "bandProof   = 20.0 ", "bandProof   = 100.0 ", ""},
	{"even-5-times", model + "even.go", "evenApart  = 14.0 ", "evenApart  = 70.0 ", ""},
	{"stray-5-times", model + "filter_live.go", "straySigma = 6.0", "straySigma = 30.0", "TestAChipIsLeftOutOfALiveSweep"},
	{"pair-sign", model + "pair.go", "nz.slow *= 1 + nz.together", "nz.slow *= 1 - nz.together", "TestPairAgainstDenseCovariance"},
	{"prior-of-form-gone", model + "grid.go", "rough += b.noForm", "rough += 0", "TestAnglesUnevenlyLate"},
	{"fall-ignored", model + "design.go", "math.Pow(float64(order)/2, -2*fall)", "math.Pow(float64(order)/2, -0*fall)", "TestTheFilterIsTheFit"},
	{"drift-forgotten", model + "design.go", "{1, 0.25, 0.06, 0.015}", "{1e-6, 1e-6, 1e-6, 1e-6}", "TestWarmingIsADrift"},
	{"likelihood-not-restricted", model + "posterior.go", "+ 2*c.logDiagonal(last)", "+ 0*c.logDiagonal(last)", "TestStepScanAgainstOneMoreColumn"},
	{"radius-forgotten", model + "components_indicator.go", "w*ind.RadiusUMM", "0*ind.RadiusUMM", "TestCommonPartsCorrelate"},
	{"spread-of-terms-forgotten", belief + "mixture.go", "cov[0] += t.Weight * (t.Cov[0] + x*x)", "cov[0] += t.Weight * t.Cov[0]",
		"TestMixtureCovarianceAgainstCounting"},
	{"both-as-one", belief + "mixture.go", "more := 1.0 ", "rho = 0; more := 1.0 ", "TestMixtureInsideBothAgainstCounting"},
	{"welch-satterthwaite", belief + "mixture.go", "t.DoF[k] = squaredFactors.dof(square)", "t.DoF[k] *= sq((own + part) / own) + 0*square", "TestMixtureHoldsTogether"},
}

var failed = regexp.MustCompile(`(?m)^--- FAIL: (\w+)`)

func main() {
	log.SetFlags(0)
	dir, err := os.MkdirTemp("", "mutations")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(dir)
	survived := 0
	for _, m := range mutations {
		if len(os.Args) > 1 && !slices.Contains(os.Args[1:], m.name) {
			continue
		}
		by, err := m.caughtBy(dir)
		switch {
		case err != nil:
			log.Printf("%s: %v", m.name, err)
			survived++
		case len(by) == 0:
			log.Printf("%s: NO TEST NOTICES", m.name)
			survived++
		default:
			log.Printf("%s: %s", m.name, strings.Join(by, ", "))
		}
	}
	if survived > 0 {
		log.Fatalf("%d mutations are not caught", survived)
	}
}

// caughtBy returns the names of the tests that fail with the mutation.
func (m mutation) caughtBy(dir string) ([]string, error) {
	text, err := os.ReadFile(m.file)
	if err != nil {
		return nil, err
	}
	if n := strings.Count(string(text), m.was); n != 1 {
		return nil, fmt.Errorf("%q stands in %s %d times, want once: bring the mutation up to date", m.was, m.file, n)
	}
	instead, err := overlay.Write(dir, m.file, []byte(strings.Replace(string(text), m.was, m.is, 1)))
	if err != nil {
		return nil, err
	}
	if m.by != "" {
		if by, err := notices(instead, "-run", "^("+m.by+")$"); err != nil || len(by) > 0 {
			return by, err
		}
	}
	return notices(instead, "-skip", "TestConstantsStandInTheTable")
}

// notices runs tests with a file in another's place and returns the names of those that fail.
func notices(overlay string, which ...string) ([]string, error) {
	args := append([]string{"test", "-failfast", "-trimpath", "-overlay", overlay}, which...)
	out, err := exec.Command("go", append(args, "./"+model, "./"+belief, "./sweep")...).CombinedOutput()
	if err == nil {
		return nil, nil
	}
	var by []string
	for _, f := range failed.FindAllStringSubmatch(string(out), -1) {
		by = append(by, f[1])
	}
	if len(by) == 0 {
		return nil, fmt.Errorf("the tests did not run:\n%s", out)
	}
	return by, nil
}
