package web

import (
	"encoding/json"
	"errors"
	"net/http"
	"strconv"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
)

// outcome is what became of a form that had waited on a phone.
type outcome struct {
	// State is "sent", "late" (taken after the cut-off), "refused" or "conflict".
	State string `json:"state"`
	// Lines say why, for people.
	Lines []string `json:"lines,omitempty"`
	// Versions are the new ones by field of the form, for pushes that were filled in later.
	Versions map[string]string `json:"versions,omitempty"`
}

// waited answers the service worker, which sends what waited. An answer other than 200 decides
// nothing: the form waits on. What waited in one person's name is never sent in another's.
func (p *Pages) waited(send func(*visit) (outcome, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v := p.visitOf(w, r)
		if !worksOffline(v) || r.Header.Get(personHeader) != personKey(v.who) {
			http.Error(w, "the one who filled this in must be chosen again first", http.StatusForbidden)
			return
		}
		told, err := outcome{}, p.enter(v)
		if err == nil {
			told, err = send(v)
		}
		if err != nil {
			f := faultOf(err)
			switch f.Kind {
			case fault.Invalid, fault.NotFound, fault.Exists, fault.Stale, fault.Precondition, fault.Forbidden:
				told = outcome{State: "refused", Lines: linesOf(f)}
			default:
				http.Error(w, "not decided: send it again", http.StatusServiceUnavailable)
				return
			}
		}
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Cache-Control", "no-store")
		// The phone may be out of reach again: it asks again with the same request id.
		_ = json.NewEncoder(w).Encode(told)
	}
}

func faultOf(err error) *fault.Error {
	var f *fault.Error
	if errors.As(err, &f) {
		return f
	}
	return fault.From(err)
}

// linesOf are a fault's reasons: those of its fields, or else the whole.
func linesOf(f *fault.Error) []string {
	var lines []string
	for _, field := range f.Fields {
		lines = append(lines, field.Description)
	}
	if len(lines) == 0 {
		lines = append(lines, f.Message)
	}
	return lines
}

// waitedPush is a push that had waited.
func (p *Pages) waitedPush(v *visit) (outcome, error) {
	day, err := v.day(v.today(1))
	if err != nil {
		return outcome{}, err
	}
	figures, err := p.figures(v, day)
	if err != nil {
		return outcome{}, err
	}
	pushed, err := p.sendFigures(v, figures)
	if f := faultOf(err); err != nil && f.Reason == pushedMeanwhile {
		shown, err := p.showPush(v, newForm())
		if err != nil {
			return outcome{}, err
		}
		theirs, err := p.meanwhile(v, day, figures, shown.data.(pushPage))
		if err != nil {
			return outcome{}, err
		}
		told := outcome{State: "conflict"}
		for _, c := range theirs {
			told.Lines = append(told.Lines, c.Room+", "+c.Product+": "+v.words.T("push.theirs", v.words.Weight(c.Low), v.words.Weight(c.Likely), v.words.Weight(c.High))+" "+v.words.T("tomorrow.by", c.By)+" "+c.At)
		}
		return told, nil
	}
	if err != nil {
		return outcome{}, err
	}
	told := outcome{State: "sent", Versions: map[string]string{}}
	for _, e := range pushed.GetExpectedPicks() {
		told.Versions["version."+pushKey(e.GetRoomId(), e.GetProductId())] = strconv.FormatInt(e.GetVersion(), 10)
	}
	if countLate(pushed) > 0 {
		told.State = "late"
	}
	return told, nil
}

// countLate is how many figures were taken after the cut-off.
func countLate(pushed *harvestv1.PushExpectedPicksResponse) (n int) {
	for _, e := range pushed.GetExpectedPicks() {
		if e.GetLate() {
			n++
		}
	}
	return n
}

// waitedWeighing is a weighing that had waited.
func (p *Pages) waitedWeighing(v *visit) (outcome, error) {
	if _, err := p.weigh(v, rowPaths{}); err != nil {
		return outcome{}, err
	}
	return outcome{State: "sent"}, nil
}
