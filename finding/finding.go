// Package finding is the one thing every station may say beside its result: what
// it noticed about a view, in a full sentence, with the number and what to do
// about it. It imports nothing, so that every station can use it.
package finding

// Severity says what a finding asks of the photographer.
type Severity string

const (
	// Reshoot: the view is not good enough to deliver; take it again before leaving.
	Reshoot Severity = "reshoot"
	// Look: look at the finished picture before delivering it.
	Look Severity = "look"
	// Note: for the record; nothing to do.
	Note Severity = "note"
)

// Finding is one thing noticed about a view. Code is kebab-case and stable, for
// programs; Message is for people and holds the number as well. Unit names what
// Value counts ("share", "EV", "px"), and is empty for a plain number.
type Finding struct {
	Code     string   `json:"code"`
	Severity Severity `json:"severity"`
	Message  string   `json:"message"`
	Value    float64  `json:"value"`
	Unit     string   `json:"unit"`
}
