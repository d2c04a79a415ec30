package forecast

import "fmt"

// ProfileError refuses a Profile; Field names the figure, Why how to mend it.
type ProfileError struct{ Profile, Field, Why string }

func (e *ProfileError) Error() string {
	return fmt.Sprintf("break profile %q: %s: %s", e.Profile, e.Field, e.Why)
}

// CropError refuses what is told of a crop; Field names the value, Why how to
// mend it.
type CropError struct{ Field, Why string }

func (e *CropError) Error() string { return fmt.Sprintf("crop: %s: %s", e.Field, e.Why) }
