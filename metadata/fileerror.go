package metadata

// FileError is a file that can't be used: which one, what is wrong with it, and
// what the photographer can do about it. Problem and Advice are clauses without a
// full stop.
type FileError struct {
	Path    string
	Problem string
	Advice  string
	Err     error // what lies beneath, if anything
}

// Error returns "path: problem; advice".
func (e *FileError) Error() string {
	s := e.Path + ": " + e.Problem
	if e.Advice != "" {
		s += "; " + e.Advice
	}
	return s
}

// Unwrap returns the underlying error.
func (e *FileError) Unwrap() error { return e.Err }

// The sentences most errors need.
const (
	AdviceCopyAgain = "copy it from the card again, and if it is damaged there too leave it out"
	adviceRename    = "if it is a picture of another kind give it its proper ending, otherwise leave it out"
)
