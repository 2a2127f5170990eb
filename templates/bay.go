package templates

import "fmt"

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
func SayBadBatch(why string) string {
	return "What the tablet sent cannot be read (" + why + "). Load the page again; what was written down is kept."
}

// SayBatchTooLong refuses more than fits into one batch.
func SayBatchTooLong(most int) string {
	return fmt.Sprintf("At most %d entries at a time. Send the rest after them.", most)
}

// SayNoSuchTest refuses a test or kind that nobody knows.
func SayNoSuchTest(id string) Mend {
	return Mend{fmt.Sprintf("There is no test or kind of entry called “%s”.", id), "Choose one of those on the page."}
}
