package stats

import (
	"errors"
	"math"
)

// Weights are what one success or one failure adds to a cumulative sum.
type Weights struct{ Success, Failure float64 }

var errRates = errors.New("rates must lie between 0 and 1, the acceptable one below the unacceptable one")

// LCCUSUM returns the weights of the learning-curve cumulative sum, which
// starts from inadequate performance and rises with success:
// ln((1−acceptable)/(1−unacceptable)) for a success and
// ln(acceptable/unacceptable), which is negative, for a failure. The rates are
// failure rates and named, never p0 and p1: sources swap those names.
// (Published method text, bio-protocol 9325945.)
func LCCUSUM(acceptable, unacceptable float64) (Weights, error) {
	if acceptable <= 0 || unacceptable >= 1 || acceptable >= unacceptable {
		return Weights{}, errRates
	}
	return Weights{
		Success: math.Log((1 - acceptable) / (1 - unacceptable)),
		Failure: math.Log(acceptable / unacceptable),
	}, nil
}

// Add returns the sum after one more case: never below 0. Competence is shown
// when it exceeds a limit found by simulation, which is the user's to state.
func (w Weights) Add(sum float64, success bool) float64 {
	if success {
		return math.Max(0, sum+w.Success)
	}
	return math.Max(0, sum+w.Failure)
}

// Expert reports whether a series of gastric or colorectal dissections meets
// all three marks: at least 9 cm²/h, at most 5% complications, at least 90% en
// bloc (JGH Open 2020, PMC7411630). Two papers on learning curves want more
// than 9 cm²/h.
func Expert(cm2PerHour, complicationPct, enBlocPct float64) bool {
	return cm2PerHour >= 9 && complicationPct <= 5 && enBlocPct >= 90
}

// ReadyForHuman reports whether training on models is enough to begin in
// people: at least 20 procedures, in the last 10 at least 8 en bloc and
// complete, and no perforation (ESGE curriculum, Endoscopy 2019;51:980).
func ReadyForHuman(modelProcedures, enBlocInLast10, perforationsInLast10 int) bool {
	return modelProcedures >= 20 && enBlocInLast10 >= 8 && perforationsInLast10 == 0
}
