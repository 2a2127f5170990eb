package web

import (
	"crosscount/diag"
	"crosscount/diag/say"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// sentence makes a remark of the engine stand alone.
func sentence(l *lang.Language, t say.Text) string { return l.Say(t.Upper()) + "." }

// mendOf shows at a field what the engine says of it.
func mendOf(l *lang.Language, reason, mend say.Text) templates.Mend {
	return templates.Mend{Reason: sentence(l, reason), Mend: sentence(l, mend)}
}

// problemWords tells what is wrong and the mend in one sentence.
func problemWords(l *lang.Language, p diag.Problem) string {
	return l.Say(p.Reason.Upper()) + "; " + l.Say(p.Mend) + "."
}
