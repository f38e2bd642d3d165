package trial

import "timeball/internal/trial/programme"

// Figure is what one criterion came to.
type Figure struct {
	Criterion programme.Criterion
	Known     bool
	Why       string  // what is missing, in words, if it is not known
	Value     float64 // from the daily rates as read, unrounded, as the standards ask

	// What the true rates would give, readings being what they are.
	Best, SD, Lo95, Hi95 float64

	Limited bool    // it has limits
	Kept    bool    // Value keeps them
	PKept   float64 // the probability that the true value keeps them
	Close   bool    // a limit lies within its doubt: PKept is between 0.025 and 0.975
	Class   string  // the best class reached by Value, empty if none or no classes
	PClass  float64 // the probability that the true value reaches that class and none better
}

// Verdict is what a trial came to.
type Verdict string

// The verdicts.
const (
	Open      Verdict = "going on"  // days are still to come
	Undecided Verdict = "undecided" // something needed is missing and cannot come any more
	Kept      Verdict = "kept"      // every limit is kept
	NotKept   Verdict = "not kept"  // a limit is not kept
	NoLimits  Verdict = "no limits" // the programme sets none: figures alone
)

// Sum is the sum of the daily rates of some whole days in a row, which is the
// change of error over them, s.
type Sum struct {
	First, Last int // days
	Known       bool
	SumS, SDS   float64
	TempC       *float64
}

// Spell is the mean of a period.
type Spell struct {
	Period  int // index into Programme.Periods
	Days    int // known
	TempC   *float64
	Mean    float64 // s/d
	SDS     float64 // of the mean, readings and the wandering of its days together
	Scatter float64 // standard deviation of its daily rates, s/d; 0 with fewer than two
}

// Law is rate against temperature: Rate + Linear·u + Quadratic·u², u in °C
// above AboutC, by weighted least squares over the spells or days.
type Law struct {
	AboutC                  float64
	Rate, Linear, Quadratic Estimate
	Curved                  bool      // the quadratic term could be told
	TurningC                *Estimate // where the rate is greatest or least; nil unless the curvature has a sign beyond doubt
	TurningRate             *Estimate
	FromC, ToC              float64 // temperatures it rests on
}

// Estimate is a figure with its doubt.
type Estimate struct{ Mean, SD, Lo95, Hi95 float64 }

// Result is what the daily rates say of a programme.
type Result struct {
	Programme programme.Programme
	Days      []Day
	Spells    []Spell
	Sums      []Sum // of the days of the first criterion of sums, or of weeks
	Figures   []Figure
	Law       *Law     // nil with fewer than two temperatures
	Mean      Estimate // mean daily rate over the counted days, s/d
	Verdict   Verdict
	P         float64  // the probability that Kept or NotKept is right; 0 for the others
	Class     string   // the worst of the classes of the criteria that have classes, empty if one of them reaches none or there are none
	PClass    float64  // the probability that Class is right
	Words     string   // the verdict as a sentence, its doubt in it
	Missing   []string // what is missing, sentences
	Remarks   []string // what a reader must see besides
}
