package shareout

import "time"

// Rule says what a farm's level is measured against.
type Rule uint8

const (
	// BySatisfiedShare raises granted ÷ (weight × asked) evenly: every farm
	// gets the same share of what it asked, times its weight.
	BySatisfiedShare Rule = iota
	// ByEqualAwards raises granted ÷ weight evenly: every farm gets the same
	// mass, times its weight, up to what it asked.
	ByEqualAwards
)

// Slot is one batch slot that a yard has published.
type Slot struct {
	ID    string
	Date  time.Time // calendar date of the slot; only year, month and day count
	Phase int       // phase of the compost: 1, 2 or 3
	// CapacityKg is what the slot can still give, 0 or more.
	CapacityKg int64
	// SmallestLotKg is the least that the yard gives out of this slot to one
	// request; 0 for no such limit.
	SmallestLotKg int64
}

// Window is a run of dates, both ends included, with the phases that will do.
type Window struct {
	From, To time.Time
	Phases   []int // empty: any phase
}

// Request is one farm asking for compost.
type Request struct {
	ID      string
	Farm    string
	AskedKg int64 // 1 or more
	// Weight is the farm's weight, for example its member shares; 1 or more,
	// and the same in all requests of a farm.
	Weight int64
	// SlotIDs names the acceptable slots. Where it is empty, Window decides.
	SlotIDs []string
	Window  Window
	// SmallestUsefulKg is the least that is of any use; less is as good as
	// nothing. 0 for any amount.
	SmallestUsefulKg int64
	// WholeFill asks for all or nothing.
	WholeFill bool
	// HaulCents is the cost of hauling one tonne from a slot's yard, in minor
	// units of the co-op's money, by slot id; a slot left out costs nothing.
	HaulCents map[string]int64
}

// leastKg is the least the request can use.
func (r Request) leastKg() int64 {
	if r.WholeFill {
		return r.AskedKg
	}
	return r.SmallestUsefulKg
}

// Round is what is shared out at once.
type Round struct {
	Rule     Rule
	Slots    []Slot
	Requests []Request
}

// Grant is mass out of one slot.
type Grant struct {
	SlotID string
	Kg     int64 // 1 or more
}

// Reason says what bound a request.
type Reason uint8

const (
	// InFull: the request got all it asked.
	InFull Reason = iota
	// SlotsFull: every acceptable slot is given out.
	SlotsFull
	// NoSlotInWindow: no slot is acceptable to the request.
	NoSlotInWindow
	// SmallestAmount: what could be given is below the smallest useful amount,
	// the whole fill, or the smallest lot of the slots.
	SmallestAmount
)

func (r Reason) String() string {
	switch r {
	case InFull:
		return "asked in full"
	case SlotsFull:
		return "slot full"
	case NoSlotInWindow:
		return "window"
	default:
		return "smallest amount"
	}
}

// Answer is what one request got and why.
type Answer struct {
	RequestID, Farm    string
	AskedKg, GrantedKg int64
	Grants             []Grant // by date of slot, then slot id
	Reason             Reason
	// FullSlotIDs are the acceptable slots that have nothing left.
	FullSlotIDs []string
	// Wider is what the request could have as well from slots outside its
	// window without taking from anybody, nearest date first; WhatIf tells
	// what it would get if the whole round were shared out anew.
	Wider []Grant
	// Sentence is the explanation in words.
	Sentence string
}

// SatisfiedShare is granted over asked, 0 to 1, for showing only.
func (a Answer) SatisfiedShare() float64 { return float64(a.GrantedKg) / float64(a.AskedKg) }

// FarmShare is the sum over a farm's requests.
type FarmShare struct {
	Farm               string
	Weight             int64
	AskedKg, GrantedKg int64
}

// SatisfiedShare is granted over asked, 0 to 1, for showing only.
func (s FarmShare) SatisfiedShare() float64 { return float64(s.GrantedKg) / float64(s.AskedKg) }

// Left is what remains of a slot.
type Left struct {
	SlotID string
	Kg     int64
}

// Bound says how far a result can be from the best. Where Exact is true it is
// the best; else no sharing out can grant more than MostKg in all, nor raise
// the lowest level of any farm above LowestLevel.
type Bound struct {
	Exact       bool
	MostKg      int64
	LowestLevel Level
}

// Result is a round shared out.
type Result struct {
	Answers   []Answer    // by request id
	Farms     []FarmShare // by farm
	Left      []Left      // by date of slot, then slot id
	GrantedKg int64
	// HaulCents is the cost of haul, rounded half up to whole minor units.
	HaulCents int64
	Bound     Bound
}
