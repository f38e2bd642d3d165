package stability

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// Generalised covariances of the noises of the table, per step.
func whiteFMKernel(h float64) float64 { return -math.Abs(h) / 2 }

// randomWalkKernel is that of a phase whose frequency is the running sum of
// independent steps: its second differences at m = 1 are independent.
func randomWalkKernel(h float64) float64 {
	h = math.Abs(h)
	return h * (h*h - 1) / 12
}

func flickerFMKernel(h float64) float64 {
	if h == 0 {
		return 0
	}
	return h * h * math.Log(math.Abs(h))
}

func pureEDF(k Statistic, n, m int, kernel func(float64) float64, variance float64) float64 {
	s, _ := shapeOf(k, m)
	count := (n - s.span() + s.step) / s.step
	return s.consecutiveEDF(count, s.covariance(kernel), variance)
}

// testdata/edf.csv: "exact" from the trace formula, computed independently;
// "simple" by D. Howe, D. Allan, J. Barnes, Properties of signal sources and
// measurement methods (1981), NIST SP 1065 (2008), section 5.4. Five decimals.
func TestEDFTable(t *testing.T) {
	f, err := os.Open("testdata/edf.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 27 {
		t.Fatalf("%d rows, want a heading and 26", len(rows))
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	statistics := map[string]Statistic{"oadev": Allan, "mdev": ModifiedAllan, "ohdev": Hadamard}
	for _, row := range rows[1:] {
		k, n, m := statistics[row[0]], int(number(row[2])), int(number(row[3]))
		x := make([]float64, n)
		var exact float64
		var noise Noise
		ok := true
		switch row[1] {
		case "2":
			noise = WhitePM
			exact, ok = Model{SigmaX: 0.1}.EDF(k, x, 1, m, nil)
		case "0":
			noise = WhiteFM
			exact, ok = Model{SigmaW: 0.2}.EDF(k, x, 1, m, nil)
		case "-2":
			noise = RandomWalkFM
			exact = pureEDF(k, n, m, randomWalkKernel, 0)
		}
		if want := number(row[4]); !ok || math.Abs(exact-want) > 6e-6 {
			t.Errorf("%v: exact %.6f, %t", row, exact, ok)
		}
		if row[5] == "" {
			continue
		}
		if simple, ok := SimpleEDF(noise, n, m); !ok || math.Abs(simple-number(row[5])) > 6e-6 {
			t.Errorf("%v: simple %.6f, %t", row, simple, ok)
		}
	}
}

// Two more, computed independently from the trace formula, four decimals:
// white FM, N = 1001, m = 10.
func TestEDFOtherStatistics(t *testing.T) {
	x := make([]float64, 1001)
	for k, want := range map[Statistic]float64{ModifiedAllan: 95.1093, Time: 95.1093, Hadamard: 123.8136} {
		if got, ok := (Model{SigmaW: 1}).EDF(k, x, 1, 10, nil); !ok || math.Abs(got-want) > 6e-5 {
			t.Errorf("%v: %.5f, %t, want %.4f", k, got, ok, want)
		}
	}
}

// The simple edf of flicker FM are fits to the exact ones, which follow from
// the generalised covariance h² ln h; Howe, Allan and Barnes give no bound, so
// the test asks that they agree to a tenth, for m up to a fifth of N.
func TestSimpleEDFFlickerFM(t *testing.T) {
	for _, tt := range [][2]int{{31, 1}, {31, 2}, {31, 6}, {101, 1}, {101, 5}, {101, 20}, {1001, 1}, {1001, 10}, {1001, 100}} {
		simple, ok := SimpleEDF(FlickerFM, tt[0], tt[1])
		exact := pureEDF(Allan, tt[0], tt[1], flickerFMKernel, 0)
		if !ok || math.Abs(simple/exact-1) > 0.1 {
			t.Errorf("N = %d, m = %d: simple %.4f, exact %.4f", tt[0], tt[1], simple, exact)
		}
	}
}

// Flicker PM lies between white PM and white FM in its spectrum, and so in its edf.
func TestSimpleEDFFlickerPM(t *testing.T) {
	for _, tt := range [][2]int{{31, 1}, {31, 2}, {31, 6}, {101, 1}, {101, 5}, {101, 20}, {1001, 10}, {1001, 100}} {
		white, _ := SimpleEDF(WhitePM, tt[0], tt[1])
		flicker, ok := SimpleEDF(FlickerPM, tt[0], tt[1])
		fm, _ := SimpleEDF(WhiteFM, tt[0], tt[1])
		if !ok || flicker > max(white, fm) || flicker < min(white, fm) {
			t.Errorf("N = %d, m = %d: white PM %.4f, flicker PM %.4f, white FM %.4f", tt[0], tt[1], white, flicker, fm)
		}
	}
}

// denseEDF is (tr C)²/tr(C²), C = D V Dᵀ, with V written out as min(t,u) and
// m²(M-m)/2 + m³/3 (Zucca and Tavella 2005) and every row of D by itself.
func denseEDF(n Model, k Statistic, x []float64, tau0 float64, m int, readings []float64) (float64, bool) {
	size := len(x)
	v := mat.NewDense(size, size, nil)
	for i := range size {
		for j := range size {
			lo, hi := float64(min(i, j))*tau0, float64(max(i, j))*tau0
			c := n.SigmaW*n.SigmaW*lo + n.SigmaR*n.SigmaR*(lo*lo*(hi-lo)/2+lo*lo*lo/3)
			if i == j {
				sd := n.SigmaX
				if readings != nil {
					sd = readings[i]
				}
				c += sd * sd
			}
			v.Set(i, j, c)
		}
	}
	var rows []float64
	var count int
	for i := range size {
		row := make([]float64, size)
		fits := true
		add := func(at int, w float64) {
			if at >= size || !finite(x[at]) {
				fits = false
				return
			}
			row[at] += w
		}
		switch k {
		case Allan, PlainAllan:
			add(i, 1)
			add(i+m, -2)
			add(i+2*m, 1)
		case ModifiedAllan, Time:
			for j := range m {
				add(i+j, 1)
				add(i+j+m, -2)
				add(i+j+2*m, 1)
			}
		case Hadamard, PlainHadamard:
			add(i, -1)
			add(i+m, 3)
			add(i+2*m, -3)
			add(i+3*m, 1)
		}
		if (k == PlainAllan || k == PlainHadamard) && i%m != 0 {
			fits = false
		}
		if fits {
			rows = append(rows, row...)
			count++
		}
	}
	if count == 0 {
		return 0, false
	}
	d := mat.NewDense(count, size, rows)
	var c, cc mat.Dense
	c.Product(d, v, d.T())
	cc.Mul(&c, &c)
	return c.Trace() * c.Trace() / cc.Trace(), true
}

// The short form agrees with the covariance in full, for every statistic, with
// gaps, unequal readings and any spacing.
func TestEDFMatchesDense(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := make([]float64, rapid.IntRange(4, 32).Draw(t, "points"))
		for _, i := range rapid.SliceOfN(rapid.IntRange(0, len(x)-1), 0, 6).Draw(t, "gaps") {
			x[i] = math.NaN()
		}
		m := rapid.IntRange(1, 6).Draw(t, "m")
		tau0 := rapid.Float64Range(0.2, 7).Draw(t, "tau0")
		n := Model{
			SigmaW: rapid.Float64Range(0.01, 1).Draw(t, "w"),
			SigmaR: rapid.Float64Range(0, 0.3).Draw(t, "r"),
			SigmaX: rapid.Float64Range(0, 1).Draw(t, "s"),
		}
		var readings []float64
		if rapid.Bool().Draw(t, "unequal") {
			readings = rapid.SliceOfN(rapid.Float64Range(0, 2), len(x), len(x)).Draw(t, "readings")
		}
		for _, k := range []Statistic{Allan, PlainAllan, ModifiedAllan, Time, Hadamard, PlainHadamard} {
			got, ok := n.EDF(k, x, tau0, m, readings)
			want, wantOK := denseEDF(n, k, x, tau0, m, readings)
			if ok != wantOK || math.Abs(got-want) > 1e-8*want {
				t.Fatalf("%v: %.12g, %t, in full %.12g, %t", k, got, ok, want, wantOK)
			}
		}
	})
}

// Without gaps and with equal readings both sides of MaxExact must meet.
func TestEDFAboveMaxExact(t *testing.T) {
	n := Model{SigmaW: 0.2, SigmaR: 0.02, SigmaX: 0.1}
	x := make([]float64, 400)
	for _, m := range []int{1, 7, 64} {
		for _, k := range []Statistic{Allan, PlainAllan, Hadamard, PlainHadamard} {
			s, _ := shapeOf(k, m)
			exact, ok := n.EDF(k, x, 1, m, nil)
			// As in EDF: the greatest of the noises of one step is the white FM.
			lagged := s.covariance(func(h float64) float64 {
				return whiteFMKernel(h) + 0.01*math.Pow(math.Abs(h), 3)/12
			})
			short := s.consecutiveEDF(len(s.starts(x)), lagged, 0.25)
			if !ok || math.Abs(short/exact-1) > 1e-9 {
				t.Errorf("%v, m = %d: %.9g, consecutive %.9g", k, m, exact, short)
			}
		}
	}
	long := make([]float64, MaxExact+1)
	at, ok := n.EDF(Allan, long[:MaxExact], 1, 7, nil)
	above, okAbove := n.EDF(Allan, long, 1, 7, nil)
	if !ok || !okAbove || math.Abs(above/at-1) > 1e-3 {
		t.Errorf("edf jumps from %g to %g at MaxExact", at, above)
	}
	if _, ok := n.EDF(ModifiedAllan, long, 1, 7, nil); ok {
		t.Error("modified Allan edf above MaxExact")
	}
}

func TestEDFRefuses(t *testing.T) {
	x := []float64{0, 1, 2, 3, 4, 5}
	good := Model{SigmaW: 0.2, SigmaR: 0.02, SigmaX: 0.1}
	nan, inf := math.NaN(), math.Inf(1)
	for name, f := range map[string]func() (float64, bool){
		"no noise":           func() (float64, bool) { return Model{}.EDF(Allan, x, 1, 1, nil) },
		"negative noise":     func() (float64, bool) { return Model{SigmaW: -1}.EDF(Allan, x, 1, 1, nil) },
		"noise NaN":          func() (float64, bool) { return Model{SigmaR: nan}.EDF(Allan, x, 1, 1, nil) },
		"noise infinite":     func() (float64, bool) { return Model{SigmaX: inf}.EDF(Allan, x, 1, 1, nil) },
		"no statistic":       func() (float64, bool) { return good.EDF(Unknown, x, 1, 1, nil) },
		"factor nought":      func() (float64, bool) { return good.EDF(Allan, x, 1, 0, nil) },
		"factor too large":   func() (float64, bool) { return good.EDF(Allan, x, 1, 3, nil) },
		"factor huge":        func() (float64, bool) { return good.EDF(Hadamard, x, 1, math.MaxInt, nil) },
		"spacing nought":     func() (float64, bool) { return good.EDF(Allan, x, 0, 1, nil) },
		"spacing NaN":        func() (float64, bool) { return good.EDF(Allan, x, nan, 1, nil) },
		"spacing infinite":   func() (float64, bool) { return good.EDF(Allan, x, inf, 1, nil) },
		"readings too few":   func() (float64, bool) { return good.EDF(Allan, x, 1, 1, []float64{1}) },
		"reading negative":   func() (float64, bool) { return good.EDF(Allan, x, 1, 1, []float64{1, 1, 1, -1, 1, 1}) },
		"reading NaN":        func() (float64, bool) { return good.EDF(Allan, x, 1, 1, []float64{1, 1, 1, nan, 1, 1}) },
		"nothing whole":      func() (float64, bool) { return good.EDF(Allan, []float64{0, nan, 0, nan}, 1, 1, nil) },
		"no points":          func() (float64, bool) { return good.EDF(Allan, nil, 1, 1, nil) },
		"steadiness below":   func() (float64, bool) { return Steadiness(-1, 0) },
		"steadiness NaN":     func() (float64, bool) { return Steadiness(0, nan) },
		"curve at nought":    func() (float64, bool) { return good.Deviation(0) },
		"curve at NaN":       func() (float64, bool) { return good.Deviation(nan) },
		"curve of bad model": func() (float64, bool) { return Model{SigmaR: -1}.Deviation(1) },
	} {
		if got, ok := f(); ok || got != 0 {
			t.Errorf("%s: %g, %t", name, got, ok)
		}
	}
	// The reading at a gap is of no account.
	gapped := []float64{0, 1, 2, nan, 4, 5, 6}
	if _, ok := good.EDF(Allan, gapped, 1, 1, []float64{1, 1, 1, nan, 1, 1, 1}); !ok {
		t.Error("refused for the reading at a gap")
	}
	// Noises however small or great have the same degrees of freedom.
	want, _ := good.EDF(Allan, x, 1, 1, nil)
	for _, scale := range []float64{1e-180, 1e180} {
		n := Model{good.SigmaW * scale, good.SigmaR * scale, good.SigmaX * scale}
		if got, ok := n.EDF(Allan, x, 1, 1, nil); !ok || math.Abs(got/want-1) > 1e-12 {
			t.Errorf("scaled by %g: %g, want %g", scale, got, want)
		}
	}
}

func BenchmarkEDF(b *testing.B) {
	n := Model{SigmaW: 0.2, SigmaR: 0.02, SigmaX: 0.1}
	for _, size := range []int{400, MaxExact} {
		b.Run(strconv.Itoa(size), func(b *testing.B) {
			x := make([]float64, size)
			for b.Loop() {
				n.EDF(Allan, x, 1, size/4, nil)
			}
		})
	}
}
