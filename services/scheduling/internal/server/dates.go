package server

import (
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/scheduling/internal/calendar"
)

// dateFrom reads a date of the request.
func dateFrom(text, path string) (calendar.Date, error) {
	d, err := calendar.ParseDate(text)
	if err != nil {
		return 0, fault.InvalidField(path, "%s", err)
	}
	return d, nil
}
