// Package lotpage owns the one-page report of a lot: what it says, as HTML and as
// PDF, with the charts of its probes and the limits of its rules drawn in.
//
// It is handed what the service answers about a lot and changes nothing of it. Where
// a list is longer than the page has room for, the page says how much is left out.
package lotpage
