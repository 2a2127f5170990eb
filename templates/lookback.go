package templates

import (
	"fmt"

	"crosscount/templates/lang"
)

// TitleLookBack is the title of the owner's page.
const TitleLookBack = "Look back"

// LookBackDays are the spans offered.
var LookBackDays = []int{90, 365, 730, 3650}

func spanWords(days int) string {
	switch days {
	case 90:
		return "90 days"
	case 365:
		return "One year"
	case 730:
		return "Two years"
	}
	return "All"
}

func lookBackSentence(v LookBackView) string {
	if v.Closed == 0 {
		return "No job was closed in this time."
	}
	back := "none came back"
	switch {
	case v.CameBack == 1:
		back = "one came back"
	case v.CameBack > 1:
		back = fmt.Sprintf("%d came back", v.CameBack)
	}
	return fmt.Sprintf("Of %d jobs closed, %s: %s (%s). %d had a part, %d none; %d were decided against the engine; %d left without a proof.",
		v.Closed, back, v.All.Percent, v.All.Interval, v.Part, v.NoPart, v.Overridden, v.Unproved)
}

func backAfter(l *lang.Language, b CameBackLine) string {
	out := "after " + daysAgo(l, b.Days)
	if b.Driven != "" {
		out += " and " + b.Driven
	}
	return out
}

func overrideSentence(l *lang.Language, o OverrideLine) string {
	return fmt.Sprintf("The engine said %s; %s decided %s.", DecisionWord(l, o.Engine), o.Who, DecisionWord(l, o.Person))
}

func orUnknown(s string) string {
	if s == "" {
		return "not known yet"
	}
	return lower(s)
}

func ifText(ok bool, s string) string {
	if ok {
		return s
	}
	return ""
}

// AndWords joins clauses as a person would.
func AndWords(l *lang.Language, ss []string) string { return and(l, ss) }

// PercentPlain writes a share that was counted, not estimated: 0 % is 0 %.
func PercentPlain(x float64) string {
	if x > 0 && x < 0.005 {
		return fmt.Sprintf("%.1f %%", x*100)
	}
	return fmt.Sprintf("%.0f %%", x*100)
}
