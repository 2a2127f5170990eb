package web

import (
	"strings"

	"crosscount/templates"
)

// vinProblem is what is wrong with a VIN; soft when it may still be as on the car.
type vinProblem struct {
	mend templates.Mend
	soft bool
}

// checkVIN looks at letters and length.
func checkVIN(v string) (vinProblem, bool) {
	if strings.Trim(v, "ABCDEFGHJKLMNPRSTUVWXYZ0123456789") != "" {
		return vinProblem{mend: templates.SayVINLetters}, false
	}
	if len(v) != 17 && len(v) < 5 || len(v) > 17 {
		return vinProblem{mend: templates.SayVINLength(len(v))}, false
	}
	return vinProblem{}, true
}
