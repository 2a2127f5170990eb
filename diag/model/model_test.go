package model

import "testing"

func TestTrade(t *testing.T) {
	m, err := Load(File{"tests.model", testsText}, File{"quantities.model", quantitiesText}, File{"causes.model", causesText})
	if err != nil {
		t.Fatal(err)
	}
	t.Log(len(m.Causes), len(m.Tests), m.BlindPairs())
}
