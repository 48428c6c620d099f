package finish

// Event is one step forward of a run, for whoever shows progress.
type Event struct {
	Step        string // what is being done, for a person: "copying the card"
	Done, Total int    // how many of how many
	Note        string // the last thing that was done; may be empty
}
