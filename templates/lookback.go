package templates

import "crosscount/templates/lang"

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

func lookBackSentence(l *lang.Language, v LookBackView) string {
	if v.Closed == 0 {
		return l.T("No job was closed in this time.")
	}
	back := l.T("none came back")
	switch {
	case v.CameBack == 1:
		back = l.T("one came back")
	case v.CameBack > 1:
		back = l.T("%d came back", v.CameBack)
	}
	return l.T("Of %d jobs closed, %s: %s (%s). %d had a part, %d none; %d were decided against the engine; %d left without a proof.",
		v.Closed, back, v.All.Percent, v.All.Interval, v.Part, v.NoPart, v.Overridden, v.Unproved)
}

func backAfter(l *lang.Language, b CameBackLine) string {
	if b.Driven != "" {
		return l.T("after %s and %s", daysAgo(l, b.Days), b.Driven)
	}
	return l.T("after %s", daysAgo(l, b.Days))
}

func overrideSentence(l *lang.Language, o OverrideLine) string {
	return l.T("The engine said %s; %s decided %s.", DecisionWord(l, o.Engine), o.Who, DecisionWord(l, o.Person))
}

func turnedOut(l *lang.Language, o OverrideLine) string {
	out := l.T("It turned out: %s.", orUnknown(l, o.Turned))
	if o.CameBackAs > 0 {
		out += " " + l.T("It came back as job %d.", o.CameBackAs)
	}
	return out
}

func orUnknown(l *lang.Language, s string) string {
	if s == "" {
		return l.T("not known yet")
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
func PercentPlain(l *lang.Language, x float64) string {
	if x > 0 && x < 0.005 {
		return l.T("%.1f %%", x*100)
	}
	return l.T("%.0f %%", x*100)
}
