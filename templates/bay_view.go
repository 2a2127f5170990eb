package templates

import (
	"crosscount/templates/lang"
	"crosscount/templates/linemap"
)

// BayView is a job as a tool for the bay: one screen at a time, all of them on the
// page, so that it works without a network.
type BayView struct {
	Page
	ID      int64
	Base    string
	Car     string
	Plate   string
	Concern string
	State   string
	CanAdd  bool

	Findings int    // entries that stand
	Headline string // the verdict so far
	Settled  string // what is next once a verdict is in force
	Minutes  string // spent so far, as noted
	Leading  []CauseView
	Stages   Stages
	NoFit    string
	Stands   string // set-ups in place on the car
	LeftOut  string

	Next   *BayTest
	Second *BayTest // instead of Next, if that cannot be done here
	Tests  []BayTest
	Kinds  []KindLink
	Forms  []KeyedForm
	Asides []AsideLine
	Log    []LogEntry
	Plan   []PlanNode
	Spots  []SpotLink
	Photos int
	Upload *UploadForm     // nil when nothing can be added
	Unread []RecordingLine // sent, but not read yet
}

// BayTest is a test as a screen.
type BayTest struct {
	TestView
	ID      string
	At      string // "1-2": where to do it; empty for any place
	Spots   []Option
	Mixture string
	Form    string // the key of the form that records it
	Expects []ExpectLine
	Usual   string // what it took in this shop so far
	Fixed   bool   // the proof drive is written down with the hand-over, not here
}

// ExpectLine is what a sound car shows at a place.
type ExpectLine struct{ Spot, Kind, Words string }

// KeyedForm is a form with the key that screens name it by, "result.intake_smoke".
type KeyedForm struct {
	Key string
	EntryForm
}

// AsideLine is a test that cannot be done on this job.
type AsideLine struct{ ID, Test, Spot, Why, Who, When string }

// PlanNode is what follows an outcome, several levels deep.
type PlanNode struct {
	PlanLine
	Key  string // the outcome's id
	Bank int    // that the outcome is about; 0: none
	Then string
	Go   string // the address of the test that follows
	Next []PlanNode
}

// SpotLink leads to the page of a sensor.
type SpotLink struct{ Href, Name, Kind, Mark string }

// SensorView is the page of one sensor of a job: where it is, how to get it out and a
// new one in, its history and its photos.
type SensorView struct {
	Photo string // where photos of this place are taken
	Page
	ID     int64
	Base   string
	Car    string
	Spot   string
	Kind   string
	Map    linemap.View
	Out    []Guide
	In     []Guide
	Proof  []Guide
	Torque string // ready words; empty when the shop has not entered it
	Thread string
	Socket string
	Heater string
	Words  string
	Source string
	Lives  []SensorLife
	Pairs  []PhotoPair
	Maker  *MakerForm
	House  string
	Back   string
}

// Guide is one piece of advice; Care marks what can hurt someone.
type Guide struct {
	Say  string
	Care bool
}

// MakerForm takes the maker's figures for a place.
type MakerForm struct {
	Torque, Thread, Socket, OhmLow, OhmHigh, Words, Source Field
	Refusal                                                *Refusal
	Open                                                   bool
}

// NewMakerForm is the empty form.
func NewMakerForm() MakerForm {
	return MakerForm{
		Torque:  Field{Name: "torque_nm", Label: "Tightening torque", Unit: "Nm", Mode: "decimal", Hint: "lb·ft may be typed too."},
		Thread:  Field{Name: "thread", Label: "Thread", Hint: "As the maker writes it, such as M18×1.5."},
		Socket:  Field{Name: "socket_mm", Label: "Across flats", Unit: "mm", Mode: "decimal"},
		OhmLow:  Field{Name: "ohm_low", Label: "Heater cold, from", Unit: "Ω", Mode: "decimal"},
		OhmHigh: Field{Name: "ohm_high", Label: "Heater cold, to", Unit: "Ω", Mode: "decimal"},
		Words:   Field{Name: "words", Label: "What else the maker says", Whole: true},
		Source:  Field{Name: "source", Label: "Where it is written", Required: true, Whole: true, Hint: "Book, page or data sheet, so that it can be checked."},
	}
}

// PhotosView is the page of a job's photos.
type PhotosView struct {
	Page
	ID      int64
	Base    string
	Car     string
	CanAdd  bool
	Subject Field
	Moment  Field
	Where   Field
	Words   Field
	Entry   string // the photo's id, made beforehand
	Refusal *Refusal
	Pairs   []PhotoPair
	Photos  []PhotoLine
}

// PhotoPair is before and after of the same thing at the same place.
type PhotoPair struct {
	Name          string
	Before, After *PhotoLine
}

// PhotoLine is one photo.
type PhotoLine struct {
	ID, Name, Words, Who, When string
	Width, Height              int
	CanRemove                  bool
}

// NewPhotosView is the page with its empty form.
func NewPhotosView(p Page, places []Option) PhotosView {
	return PhotosView{Page: p,
		Subject: Field{Name: "subject", Label: "What is on it?", Required: true, Value: "tip",
			Options: []Option{{"tip", "Tip"}, {"connector", "Connector"}, {"gasket", "Gasket"}, {"other", "Something else"}}},
		Moment: Field{Name: "moment", Label: "When?", Value: "before", Options: []Option{{"before", "Before the repair"}, {"after", "After the repair"}, {"", "Neither"}}},
		Where:  Field{Name: "where", Label: "Where?", Options: append(places, Option{"", "Elsewhere"})},
		Words:  Field{Name: "words", Label: "In words", Whole: true},
	}
}

// SubjectWord names what a photo shows.
func SubjectWord(l *lang.Language, s string) string {
	switch s {
	case "tip":
		return l.T("Tip")
	case "connector":
		return l.T("Connector")
	case "gasket":
		return l.T("Gasket")
	}
	return l.T("Photo")
}

// MomentWord says when a photo was taken.
func MomentWord(l *lang.Language, s string) string {
	switch s {
	case "before":
		return l.T("before")
	case "after":
		return l.T("after")
	}
	return ""
}
