package model

func check(m *Model) Errors { return nil }

func blindPairs(m *Model) []Pair { return nil }
