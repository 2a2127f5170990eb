package main

import "fmt"

// didYouMean is ", did you mean …?" for a name that is close to one of names, or
// nothing.
func didYouMean(name string, names []string) string {
	best, distance := "", len(name)/2+1
	for _, n := range names {
		if d := edits(name, n); d < distance {
			best, distance = n, d
		}
	}
	if best == "" {
		return ""
	}
	return fmt.Sprintf(" (did you mean %s?)", best)
}

// edits is the Levenshtein distance: how many letters must be put in, taken out
// or replaced to make b of a.
func edits(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
