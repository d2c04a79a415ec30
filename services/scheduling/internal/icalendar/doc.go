// Package icalendar owns what leaves scheduling as iCalendar (RFC 5545): feeds of
// all-day events for farms, rooms and yards, and recurrence rules read into days
// for series of published slots.
//
// Lines are written by github.com/arran4/golang-ical, which folds at 75 octets
// without splitting a character and escapes text; it is told to end lines with
// CRLF. It passes control characters and bare carriage returns through, so this
// package takes them out first. (github.com/emersion/go-ical was tried and not
// taken: it does not fold.) Recurrence is expanded by
// github.com/teambition/rrule-go, which reproduces the examples of RFC 5545
// 3.8.5.3 but accepts rules that the RFC forbids; this package refuses those
// before they reach it.
//
// The package is pure: DTSTAMP comes in as a value, UIDs come from the caller's
// ids, and events are written in a fixed order, so that an unchanged calendar
// gives an unchanged feed.
package icalendar
