package sound

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// blockFrames is how many frames are made at a time; the length of a block
// does not depend on how the stream is read.
const blockFrames = 32768

// Stream is a recording while it is made, in memory that does not grow with
// its length but by its list of beats.
type Stream struct {
	take   Take
	left   int // frames still to be read
	levels Levels
	gain   float64 // of everything, so that the whole peaks at about 0.5

	sounding []*sounding
	sum      []float64 // sounds placed from block on
	block    int       // first frame of the block made last, lost ones counted
	at       int       // first frame of it not yet passed on
	made     bool
	faults   []fault
	white    *rand.Rand
	noise    float64
	clip     float64
	pump     float64 // the follower of GainPump
	steps    float64

	pulses   *pulses
	pulseSum []float64

	drops  []Drop // by file time
	joined int    // drops already passed
	passed int    // frames passed on
	past   []float64
	pastP  []float64
	again  int // frames of past still to be passed on once more

	recorded Recorded
	pending  []heard
}

// heard is a beat whose frame has not been passed on yet.
type heard struct {
	frame         float64
	which, number int // which -1: a pulse
}

func sortDrops(d []Drop) {
	slices.SortStableFunc(d, func(a, b Drop) int { return cmp.Compare(a.AtS, b.AtS) })
}

// Stream returns the recording as a stream.
func (t Take) Stream(rng *rand.Rand) *Stream {
	// Each part draws from its own source, so that none moves another.
	source := func() *rand.Rand { return rand.New(rand.NewPCG(rng.Uint64(), rng.Uint64())) }
	s := &Stream{take: t, left: int(math.Round(t.Seconds * t.rateHz())), white: source()}
	s.drops = t.place(source())
	first := Chronometer{}
	if len(t.Chronometers) > 0 {
		first = t.Chronometers[0]
	}
	longest := 0.0
	for _, c := range t.Chronometers {
		one := newSounding(source(), t.sampledHz(), t.Echo, c, first.GainDB)
		s.sounding = append(s.sounding, one)
		s.recorded.Pattern = append(s.recorded.Pattern, one.pattern)
		longest = max(longest, one.periodS)
	}
	n := len(s.sounding)
	s.recorded.Beats, s.recorded.Numbers = make([][]float64, n), make([][]int, n)
	s.sum = make([]float64, blockFrames+int((longest+1)*t.rateHz()))

	beat := measure(t.rateHz(), t.Echo, first, t.SNRWhole)
	s.noise = beat.noiseRMS(t.SNRdB)
	loudest := 0.0
	for _, c := range s.sounding {
		loudest = max(loudest, beat.peak*c.level)
	}
	if len(t.Chronometers) == 0 {
		loudest = beat.peak
	}
	total := loudest + 4*s.noise
	add := func(f fault, peak float64) {
		s.faults = append(s.faults, f)
		total += peak
	}
	if t.PinkDB != 0 {
		f := newPink(source(), t.rateHz(), beat.power*math.Pow(10, t.PinkDB/10))
		add(f, 4*f.rms())
	}
	if t.HumHz > 0 {
		f := newHum(source(), t.rateHz(), t.HumHz, beat.power*math.Pow(10, t.HumDB/10))
		add(f, 2*f.rms())
	}
	if t.Knocks > 0 {
		f := newBench(source(), t.rateHz(), t.Knocks, t.Seconds, 3*beat.peak)
		add(f, 3*beat.peak)
	}
	if t.SpeechLike != 0 {
		f := newSpeech(source(), t.rateHz(), beat.power*math.Pow(10, t.SpeechLike/10))
		add(f, 4*f.rms())
	}
	s.gain = 0.5 / total
	s.clip = math.Inf(1)
	if t.ClipShare > 0 {
		s.clip = t.ClipShare * beat.peak * s.gain
	}
	if t.QuantBits > 0 {
		s.steps = math.Ldexp(1, t.QuantBits-1)
	}
	s.levels = Levels{
		LevelPeak: beat.peak * s.gain, BeatPower: beat.power * s.gain * s.gain, NoiseRMS: s.noise * s.gain,
		TwoEOverN0: beat.twoEOverN0(s.noise), BandwidthHz: beat.bandwidthHz,
	}
	if t.SecondPulse {
		s.pulses = newPulses(source(), t)
		s.pulseSum = make([]float64, len(s.sum))
	}
	keep := 0
	for _, d := range s.drops {
		keep = max(keep, -d.Frames)
	}
	s.past, s.pastP = make([]float64, keep), make([]float64, keep)
	s.block = -blockFrames
	s.at = blockFrames
	return s
}

// Read fills into with the next samples and returns how many there were; 0 is
// the end. A pulse channel is passed over.
func (s *Stream) Read(into []float64) int { return s.read(into, nil) }

// ReadBoth fills both channels, of equal length, as Read does.
func (s *Stream) ReadBoth(into, pulse []float64) int { return s.read(into, pulse) }

func (s *Stream) read(into, pulse []float64) int {
	n := min(len(into), s.left)
	for done := 0; done < n; {
		want := n - done
		if s.joined < len(s.drops) {
			d := s.drops[s.joined]
			if to := int(math.Round(d.AtS*s.take.rateHz())) - s.passed; to <= 0 {
				s.joined++
				s.join(d)
				continue
			} else if to < want {
				want = to
			}
		}
		var from, fromP []float64
		if s.again > 0 {
			from, fromP = s.past[len(s.past)-s.again:], s.pastP[len(s.past)-s.again:]
		} else {
			if s.at >= blockFrames {
				s.make()
			}
			from = s.sum[s.at:blockFrames]
			if s.pulses != nil {
				fromP = s.pulseSum[s.at:blockFrames]
			}
		}
		from = from[:min(want, len(from))]
		k := copy(into[done:], from)
		if pulse != nil && s.pulses != nil {
			copy(pulse[done:done+k], fromP[:k])
		}
		if s.again > 0 {
			s.again -= k
		} else {
			s.hear(s.block+s.at, s.block+s.at+k)
			s.at += k
		}
		s.remember(from, fromP)
		s.finish(into[done : done+k])
		s.passed += k
		done += k
	}
	s.left -= n
	return n
}

// join loses the frames of a drop or has them passed on again.
func (s *Stream) join(d Drop) {
	s.recorded.Drops = append(s.recorded.Drops, Drop{AtS: float64(s.passed) / s.take.rateHz(), Frames: d.Frames})
	if d.Frames < 0 {
		s.again = -d.Frames
		return
	}
	for left := d.Frames; left > 0; {
		if s.at >= blockFrames {
			s.make()
		}
		k := min(left, blockFrames-s.at)
		s.at += k
		left -= k
	}
	s.hear(math.MinInt, s.block+s.at)
}

// remember keeps the frames passed on last, for a buffer to be heard again.
func (s *Stream) remember(from, fromP []float64) {
	if len(s.past) == 0 || s.again > 0 {
		return
	}
	keep := func(past, from []float64) {
		if len(from) >= len(past) {
			copy(past, from[len(from)-len(past):])
			return
		}
		copy(past, past[len(from):])
		copy(past[len(past)-len(from):], from)
	}
	keep(s.past, from)
	if fromP != nil {
		keep(s.pastP, fromP[:len(from)])
	}
}

// hear puts the beats of the frames from..to into the truth, if they were
// passed on, and forgets those before.
func (s *Stream) hear(from, to int) {
	rest := s.pending[:0]
	for _, h := range s.pending {
		if h.frame >= float64(to) {
			rest = append(rest, h)
			continue
		}
		fileS := (h.frame - float64(from) + float64(s.passed)) / s.take.rateHz()
		silent := fileS >= s.take.SilentFrom && fileS < s.take.SilentTo
		switch {
		case from == math.MinInt || h.frame < float64(from):
		case h.which < 0:
			s.recorded.PulseS = append(s.recorded.PulseS, fileS)
		case !silent:
			s.recorded.Beats[h.which] = append(s.recorded.Beats[h.which], fileS)
			s.recorded.Numbers[h.which] = append(s.recorded.Numbers[h.which], h.number)
		}
	}
	s.pending = rest
}

// make makes the next block.
func (s *Stream) make() {
	if s.made {
		copy(s.sum, s.sum[blockFrames:])
		clear(s.sum[len(s.sum)-blockFrames:])
	}
	s.block += blockFrames
	s.at = 0
	untilS := s.take.trueS(float64(s.block+blockFrames)) + 0.05
	place := func(trueS float64) float64 { return s.take.frames(trueS) - float64(s.block) }
	for i, c := range s.sounding {
		for _, b := range c.before(untilS, s.sum, place, nil) {
			s.pending = append(s.pending, heard{s.take.frames(b.trueS), i, b.number})
		}
	}
	slices.SortStableFunc(s.pending, func(a, b heard) int { return cmp.Compare(a.frame, b.frame) })
	block := s.sum[:blockFrames]
	for _, f := range s.faults {
		f.add(block)
	}
	if noise := s.noise; noise > 0 {
		white := s.white
		for i := range block {
			block[i] += noise * white.NormFloat64()
		}
	}
	if s.take.GainPump > 0 {
		s.pumped(block)
	}
	if s.pulses != nil {
		if s.made {
			copy(s.pulseSum, s.pulseSum[blockFrames:])
			clear(s.pulseSum[len(s.pulseSum)-blockFrames:])
		}
		for _, at := range s.pulses.before(untilS, s.pulseSum, place) {
			s.pending = append(s.pending, heard{s.take.frames(at), -1, 0})
		}
		s.pulses.dust(s.pulseSum[:blockFrames])
	}
	s.made = true
}

// pumped lets the gain yield to what is loud.
func (s *Stream) pumped(block []float64) {
	attack := 1 - math.Exp(-1/(0.005*s.take.rateHz()))
	release := 1 - math.Exp(-1/(0.5*s.take.rateHz()))
	of := 1 / (0.25 * s.levels.LevelPeak / s.gain)
	for i, v := range block {
		level := math.Abs(v) * of
		if level > s.pump {
			s.pump += attack * (level - s.pump)
		} else {
			s.pump += release * (level - s.pump)
		}
		block[i] = v * (1 - s.take.GainPump*s.pump/(1+s.pump))
	}
}

// finish brings samples that are passed on to their level, clips them and
// rounds them.
func (s *Stream) finish(samples []float64) {
	gain, top := s.gain, min(s.clip, 1-0x1p-23)
	if s.steps > 0 {
		top = min(top, 1-1/s.steps)
	}
	for i, v := range samples {
		samples[i] = max(-top, min(top, v*gain))
	}
	if s.steps > 0 {
		for i, v := range samples {
			samples[i] = math.RoundToEven(v*s.steps) / s.steps
		}
	}
	if s.take.SilentTo > s.take.SilentFrom {
		from := int(math.Ceil(s.take.SilentFrom*s.take.rateHz())) - s.passed
		to := int(math.Ceil(s.take.SilentTo*s.take.rateHz())) - s.passed
		if from, to = max(from, 0), min(to, len(samples)); from < to {
			clear(samples[from:to])
		}
	}
}

// Recorded returns the truth of what has been read so far, without samples.
func (s *Stream) Recorded() Recorded {
	r := s.recorded
	r.Levels = s.levels
	return r
}
