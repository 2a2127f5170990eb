package lang

// Lists of names for Names, each in the order of the calendar; Days begin on Sunday.
const (
	Months     = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec"
	FullMonths = "January February March April May June July August September October November December"
	Days       = "Sun Mon Tue Wed Thu Fri Sat"
)
