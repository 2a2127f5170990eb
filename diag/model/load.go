package model

import (
	_ "embed"
	"sync"
)

var (
	//go:embed tests.model
	testsText string
	//go:embed quantities.model
	quantitiesText string
	//go:embed causes.model
	causesText string
)

// Trade is the trade model that the program carries. The files are checked by
// the package's tests, so a fault in them cannot reach a user.
var Trade = sync.OnceValue(func() *Model {
	m, err := Load(File{"tests.model", testsText}, File{"quantities.model", quantitiesText}, File{"causes.model", causesText})
	if err != nil {
		panic("the embedded trade model is not sound:\n" + err.Error())
	}
	return m
})
