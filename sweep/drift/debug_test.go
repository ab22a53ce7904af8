package drift
import ("testing";"fmt";"math/rand/v2";"os";"sort")
func TestDebug(t *testing.T) {
	if os.Getenv("DEBUG")=="" {return}
	r := rand.New(rand.NewPCG(3, 4))
	tr := New()
	for k := 0; k < 80; k++ {
		y := 0.0
		if k >= 40 { y = 0.02 }
		row, _ := tr.Check(check(float64(k), y+0.005*r.NormFloat64(), 0.005*r.NormFloat64(), 0.004))
		a := tr.axes[0]
		if k==39 || k>=40 && k%5==0 || k==79 {
			fmt.Println(k, row.Alarm, a.jumped != nil, "still", a.still, "kinds", a.bank.kinds(), "n", len(a.bank.h), a.bank.restsOn())
			h := append([]hypothesis{}, a.bank.h...)
			sort.Slice(h, func(i,j int) bool { return h[i].weight>h[j].weight })
			for _, x := range h[:6] { fmt.Printf("   w %.3f q %.3f b %.3f turn %.3f tau %d alive %v anew %v rate %.4f±%.4f level %.4f\n", x.weight, x.wander, x.steep, x.turn, x.tau, x.alive, x.anew, x.rate, 0.0, x.level) }
		}
	}
	n := tr.due(0.05)
	fmt.Println(n.Days, n.LimitedBy, tr.bears())
	for _, a := range tr.axes { b := a.bank; fmt.Println(b.now(), b.sigma()) }
}
