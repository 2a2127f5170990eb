package templates

import (
	"fmt"

	"github.com/a-h/templ"

	"crosscount/static"
	"crosscount/templates/lang"
)

// What a tablet is told about things that it sent.
var (
	SayBadID           = Mend{"The entry came without a proper number of its own.", "Load the page again and write it down once more."}
	SayEmptyItem       = Mend{"There is nothing in it.", "Write it down again."}
	SayGone            = Mend{"There is no such job or entry.", "Check the job's number; write it into the right job."}
	SayClosedMeanwhile = Mend{"The job was closed meanwhile, so its log takes no more entries.", "What you wrote is kept on this tablet. Ask the owner to open the job again and send it once more, or write it into the new job."}
)

// SayOtherPerson protects one person's entries from going out under another's name.
const SayOtherPerson = "These entries belong to someone else. They wait on this tablet until that person logs in here again."

// SayBadBatch refuses what is no batch.
func SayBadBatch(l *lang.Language, why string) string {
	return l.T("What the tablet sent cannot be read (%s). Load the page again; what was written down is kept.", why)
}

// SayBatchTooLong refuses more than fits into one batch.
func SayBatchTooLong(l *lang.Language, most int) string {
	return l.T("At most %d entries at a time. Send the rest after them.", most)
}

// SayNoSuchTest refuses a test or kind that nobody knows.
func SayNoSuchTest(l *lang.Language, id string) Mend {
	return Mend{l.T("There is no test or kind of entry called “%s”.", id), "Choose one of those on the page."}
}

func bayScript() string    { return static.URL("bay.js") }
func photoScript() string  { return static.URL("photo.js") }
func tabletScript() string { return static.URL("tablet.js") }

// frameData tells the scripts whose page this is, of which job and of which version,
// and how the shop writes dates and numbers.
func frameData(p Page) templ.Attributes {
	a := templ.Attributes{"data-version": static.Version()}
	if p.Viewer != nil {
		a["data-person"] = itoa(p.Viewer.ID)
	}
	if p.Job != 0 {
		a["data-job"] = itoa(p.Job)
	}
	if p.Dates != "" && p.Dates != "day" {
		a["data-dates"] = p.Dates
	}
	if p.Decimal != "" && p.Decimal != "." {
		a["data-decimal"] = p.Decimal
	}
	return a
}

// Titles and marks of the bay's pages.
const (
	TitlePhotos = "Photos"
	TitleTablet = "This tablet"
	MarkHere    = "this one"
	PhotoLabel  = "The photo"
)

// What is wrong with a photo, and the mend.
var (
	SayNoPhoto     = Mend{"That is not a photo: its content is neither JPEG, PNG nor WebP, whatever its name says.", "Take the photo again, or export it as JPEG."}
	SayPhotoBroken = Mend{"The photo is damaged and cannot be read to its end.", "Take it again, or send it once more."}
)

// SayUploadBroken is for a file that ended in the middle.
const SayUploadBroken = "The file did not arrive whole. Send it again."

// SayPhotoTooWide refuses a picture that would not fit into memory.
func SayPhotoTooWide(l *lang.Language, w, h, most int) Mend {
	return Mend{l.T("The photo has %d × %d pixels; at most %d million are taken.", w, h, most), "Take it with a lower resolution or cut it to what matters."}
}

// SayPhotoTooLarge refuses a file that is too large.
func SayPhotoTooLarge(l *lang.Language, most int) Mend {
	return Mend{l.T("The photo is larger than %d MB.", most), "Take it with a lower resolution, or send it from the tablet's camera page, which shrinks it first."}
}

// SpentWords adds the minutes noted so far.
func SpentWords(l *lang.Language, minutes string) string { return l.T(", %s noted", minutes) }

// WrittenWords tells an entry that came in late.
func WrittenWords(l *lang.Language, written, came string) string {
	return l.T("written %s, came in %s", written, came)
}

// TorqueWords gives a torque in both units (1 lbf·ft = 1.355818 N·m, NIST SP 811).
func TorqueWords(nm float64) string {
	return fmt.Sprintf("%.4g\u00a0Nm (%.0f\u00a0lb·ft)", nm, nm/1.355818)
}

func findings(l *lang.Language, n int) string {
	if n == 1 {
		return l.T("1 finding")
	}
	return l.T("%d findings", n)
}
