package programme

// Status says how far a value can be trusted.
type Status string

// The four origins a value can have.
const (
	// Published: the figure, or the figures it is computed from, stand in the
	// publication that the source's text names.
	Published Status = "published"
	// CommonPractice: growers hold it as known; nothing published was found.
	CommonPractice Status = "common practice, no source"
	// FromMemory: recalled from teaching or trade talk and not looked up. It
	// serves as a starting point and must not be used to prove anything.
	FromMemory Status = "from memory"
	// Own: the co-op's own records.
	Own Status = "own"
)

// Source says where a value comes from.
type Source struct {
	// Text names the publication, table and year, or says in words what the
	// practice is and how a derived figure was computed.
	Text   string `json:"text"`
	Status Status `json:"status"`
}

// Range is a least, usual and most value of one quantity. The unit is stated by
// the field that holds it.
type Range struct {
	Least int64 `json:"least"`
	Usual int64 `json:"usual"`
	Most  int64 `json:"most"`
	// Source is a key of Programme.Sources.
	Source string `json:"source"`
}

// Band is a lower and an upper limit. Either may be absent: absent means no
// limit on that side, never zero.
type Band struct {
	Least *int64 `json:"least,omitempty"`
	Most  *int64 `json:"most,omitempty"`
	// Source is a key of Programme.Sources.
	Source string `json:"source"`
}

// Holds reports whether v lies within the band, limits included.
func (b Band) Holds(v int64) bool {
	return (b.Least == nil || v >= *b.Least) && (b.Most == nil || v <= *b.Most)
}

// Value is one number. The unit is stated by the field that holds it.
type Value struct {
	Value int64 `json:"value"`
	// Source is a key of Programme.Sources.
	Source string `json:"source"`
}

// plus adds two ranges bound by bound; the source of r is kept.
func (r Range) plus(o Range) Range {
	r.Least += o.Least
	r.Usual += o.Usual
	r.Most += o.Most
	return r
}
