package shareout

import "fmt"

// InvalidError says what of a round cannot be, and how to mend it.
type InvalidError struct {
	Where   string // for example "request R7, weight"
	Problem string // what is wrong and what is expected
}

func (e *InvalidError) Error() string { return e.Where + ": " + e.Problem }

func invalid(where, format string, args ...any) error {
	return &InvalidError{Where: where, Problem: fmt.Sprintf(format, args...)}
}

// TooLargeError says that masses and weights are so large that whole-number
// arithmetic could overflow.
type TooLargeError struct{ Units, Kg string }

func (e *TooLargeError) Error() string {
	return fmt.Sprintf("weights of %s units over %s kg are too large to share out exactly: use smaller weights in the same proportion", e.Units, e.Kg)
}

// UnknownRequestError names a request that is not in the round.
type UnknownRequestError struct{ ID string }

func (e *UnknownRequestError) Error() string {
	return fmt.Sprintf("no request %q in this round: name one of its requests", e.ID)
}
