package tape_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/tape"
)

// TestTapeKeepsTheNewest: whatever pieces samples come in, what is kept is read
// back to a hundredth of the loudest beside it, and the rest is not there.
func TestTapeKeepsTheNewest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		block := rapid.IntRange(1, 40).Draw(t, "block")
		most := rapid.IntRange(2, 900).Draw(t, "blocks")
		n := rapid.IntRange(0, 3*block*most/2+100).Draw(t, "samples")
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		x := make([]float64, n)
		for i := range x {
			x[i] = rng.NormFloat64() * math.Exp(3*rng.NormFloat64())
		}
		k := tape.New(block, block*most)
		shorter := rapid.IntRange(2, most).Draw(t, "kept later")
		cut := rng.IntN(n + 1)
		for i := 0; i < n; {
			m := min(n-i, 1+rng.IntN(3*block))
			k.Write(x[i : i+m])
			i += m
			if cut >= 0 && i > cut {
				k.Keep(shorter * block)
				cut = -1
			}
		}
		if k.Length > int64(n) || k.Length < int64(n-block+1) {
			t.Fatalf("%d of %d samples are written", k.Length, n)
		}
		length := k.Length - k.From
		y := make([]float64, length)
		if length > 0 && !k.Read(y, k.From) {
			t.Fatal("what is kept is not whole")
		}
		for i, v := range y {
			at := int(k.From) + i
			first := at / block * block
			top := 0.0
			for _, w := range x[first : first+block] {
				top = math.Max(top, math.Abs(w))
			}
			if math.Abs(v-x[at]) > top/127 {
				t.Fatalf("sample %d is %g, want %g, the loudest beside it %g", at, v, x[at], top)
			}
		}
		if one := make([]float64, 1); k.Read(one, k.From-1) || one[0] != 0 || k.Read(one, k.Length) {
			t.Fatal("what is not kept is told as kept")
		}
	})
}

// TestPowers: each step is the mean square of its samples, and noise of whatever
// level stands out by nothing while a beat in it does.
func TestPowers(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 3))
	p := tape.NewPowers(12, 4000)
	x := make([]float64, 12*6000)
	for i := range x {
		x[i] = 0.01 * rng.NormFloat64()
		if i%12000 < 60 { // a beat each half second at 24 kHz
			x[i] *= 8
		}
	}
	for i := 0; i < len(x); i += 1000 {
		p.Write(x[i:min(len(x), i+1000)])
	}
	if p.Count != 6000 || p.Kept() != 4000 || p.From() != 2000 || p.At(1999) != 0 || p.At(6000) != 0 {
		t.Fatalf("%d counted, %d kept from %d", p.Count, p.Kept(), p.From())
	}
	for i := int64(2000); i < 6000; i += 37 {
		sum := 0.0
		for _, v := range x[12*i : 12*i+12] {
			sum += v * v / 12
		}
		if math.Abs(p.At(i)/sum-1) > 1e-6 {
			t.Fatalf("step %d is %g, want %g", i, p.At(i), sum)
		}
	}
	z := p.Excess(2000, 1000, 4, 500)
	for i, v := range z {
		if beat := i%250 < 2; beat && v < 0.5 || !beat && math.Abs(v) > 0.5 {
			t.Errorf("step %d stands out by %.2f, a beat: %v", i, v, beat)
		}
	}
}
