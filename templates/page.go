// Package templates draws every page from plain view models. It holds all texts a
// person reads and decides nothing: what is shown, in which order and with which
// numbers is settled by whoever fills the view model.
package templates

import (
	"context"

	"crosscount/templates/lang"
)

// Page is what the frame around every page needs.
type Page struct {
	Title  string // shown in the browser's tab
	Shop   string // the shop's name; empty before it is set
	Viewer *Viewer
	Theme  string // light, dark or empty for the device's own setting
	Path   string // where this page lives, so that a switch can come back to it
	Here   Place  // which entry of the navigation is open
	Find   string // what was searched for
	Notice string // what the last act did, said once
	Job    int64  // the job the page is about; 0 for none

	Words   map[string]string // for the scripts, by their English; nil in English
	Dates   string            // which stands first in a date: day, month, year
	Decimal string            // the decimal sign

	Modules []string // scripts that the page cannot be used without, fetched first
}

// Viewer is the person who is logged in.
type Viewer struct {
	ID    int64
	Name  string
	Role  string // writer, technician, owner
	Owner bool
}

// Place is an entry of the navigation.
type Place string

// The places of the navigation.
const (
	AtHome     Place = "home"
	AtNewJob   Place = "new"
	AtLookBack Place = "lookback"
	AtModel    Place = "model"
	AtPeople   Place = "people"
	AtShop     Place = "shop"
	AtMe       Place = "me"
	AtNowhere  Place = ""
)

// Mend is what is wrong with an entry and how to put it right.
type Mend struct {
	Reason string
	Mend   string
}

// Field is one thing a person fills in.
type Field struct {
	Name     string
	Label    string
	Value    string
	Hint     string
	Unit     string // stands behind the box
	Choice   bool   // the unit is the shop's choice and goes with what is typed
	Type     string // text when empty; password, email, tel, date
	Mode     string // the keyboard to offer: decimal, numeric, text
	Complete string // the autocomplete purpose
	Required bool
	Whole    bool // takes a whole row
	Options  []Option
	Own      bool // the options are somebody's own words, such as names
	Error    *Mend
}

// Option is one choice of a Field.
type Option struct {
	Value string
	Label string
}

// Refusal heads a form that came back.
type Refusal struct {
	Problems []Problem
}

// Problem links to the field it speaks of.
type Problem struct {
	Field string // the field's name; empty for the whole form
	Label string
	Mend
}

// T says a text in the language of the page. Without arguments the English is the text
// itself, with arguments a format of package fmt.
func T(ctx context.Context, english string, args ...any) string {
	return lang.T(ctx, english, args...)
}

// tongue is the language of the page, for words that are put together.
func tongue(ctx context.Context) *lang.Language { return lang.From(ctx) }
