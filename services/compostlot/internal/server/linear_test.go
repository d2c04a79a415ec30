package server_test

import (
	"fmt"
	"maps"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

// What a client did to one slot. A round works on all slots at once; as each request of this
// test accepts one slot only, it is one operation on each slot, and a history is linearizable
// exactly where that of each slot is.
type (
	asked struct {
		id string
		kg int64
	}
	shareOut  struct{}
	withdrawn struct{}
	looked    struct{}
)

type slotInput struct {
	slot string
	op   any
}

// slotOutput is what came back: what requests got of the slot or lost, and what was free.
type slotOutput struct {
	kg   map[string]int64
	free int64
	gone bool // the slot was withdrawn
}

// slotState is a slot by the contract: requests are divisible, so a round gives out all that
// is asked for or all that is free; a request with a part is settled.
type slotState struct {
	free    int64
	gone    bool
	waiting map[string]int64 // kg asked by those that wait
	has     map[string]int64 // kg granted
	asked   map[string]int64
}

func (s slotState) next() slotState {
	s.waiting, s.has, s.asked = maps.Clone(s.waiting), maps.Clone(s.has), maps.Clone(s.asked)
	return s
}

func sum(m map[string]int64) (total int64) {
	for _, kg := range m {
		total += kg
	}
	return total
}

const capacity = 1000

// slotModel is the contract of one slot.
var slotModel = porcupine.Model{
	Partition: func(history []porcupine.Operation) [][]porcupine.Operation {
		of := map[string][]porcupine.Operation{}
		for _, op := range history {
			id := op.Input.(slotInput).slot
			of[id] = append(of[id], op)
		}
		return slices.Collect(maps.Values(of))
	},
	Init: func() any {
		return slotState{free: capacity, waiting: map[string]int64{}, has: map[string]int64{}, asked: map[string]int64{}}
	},
	Equal: func(a, b any) bool {
		x, y := a.(slotState), b.(slotState)
		return x.free == y.free && x.gone == y.gone && maps.Equal(x.waiting, y.waiting) && maps.Equal(x.has, y.has)
	},
	Step: func(state, input, output any) (bool, any) {
		s, out := state.(slotState).next(), output.(slotOutput)
		switch op := input.(slotInput).op.(type) {
		case asked:
			s.waiting[op.id], s.asked[op.id] = op.kg, op.kg
			return true, s
		case looked:
			return out.free == s.free && out.gone == s.gone, s
		case shareOut:
			if sum(out.kg) != min(s.free, sum(s.waiting)) {
				return false, s
			}
			for id, kg := range out.kg {
				if want, waits := s.waiting[id]; !waits || kg > want {
					return false, s
				}
				delete(s.waiting, id)
				s.has[id] = kg
			}
			s.free -= sum(out.kg)
			return true, s
		default: // withdrawn
			if s.gone || !maps.Equal(out.kg, s.has) {
				return false, s
			}
			for id := range s.has {
				s.waiting[id] = s.asked[id]
			}
			s.free, s.gone, s.has = 0, true, map[string]int64{}
			return true, s
		}
	},
}

// Two hundred requesters, with rounds and withdrawals among them, all at once: whatever the
// order in which the database takes them, there is one that explains every answer, in which
// no slot gives more than it has, nothing is given twice, and nothing out of a withdrawn slot.
// The history is checked by porcupine (linearizability after Herlihy and Wing, 1990).
func TestTwoHundredRequestersNeverOversell(t *testing.T) {
	t.Parallel()
	r := newRigAlone(t)
	r.yards(t)
	const slots, requesters = 40, 200
	var published []*compostlotv1.Slot
	for i := range slots {
		published = append(published, slot(fmt.Sprintf("s%d", i), aprilDay(i), capacity))
	}
	r.publish(t, published...)
	rooms := []string{"alder-1", "alder-2", "birch-1", "birch-2", "cedar-1", "cedar-2"}
	for i, room := range rooms { // farms and rooms are known before the rush
		r.ask(t, asks(fmt.Sprintf("early-%d", i), room, 1, "2026-06-01", "2026-06-01"))
	}
	start := time.Now()
	var mu sync.Mutex
	var history []porcupine.Operation
	// note runs a call and adds what it did to each slot.
	note := func(client int, call func() map[slotInput]slotOutput) {
		began := time.Since(start).Nanoseconds()
		did := call()
		ended := time.Since(start).Nanoseconds()
		mu.Lock()
		defer mu.Unlock()
		for in, out := range did {
			history = append(history, porcupine.Operation{ClientId: client, Input: in, Call: began, Output: out, Return: ended})
		}
	}
	var wg sync.WaitGroup
	for i := range requesters {
		wg.Go(func() {
			s := i % slots
			note(i, func() map[slotInput]slotOutput { return r.askOne(t, i, s, rooms[i%len(rooms)]) })
			if i%33 == 0 {
				note(i, func() map[slotInput]slotOutput { return r.shareAll(t, slots) })
			}
			if i%50 == 7 { // slots 0, 5, 10 and 15
				note(i, func() map[slotInput]slotOutput { return r.withdrawOne(t, i/10) })
			}
			if i%67 == 3 {
				note(i, func() map[slotInput]slotOutput { return r.lookAt(t) })
			}
		})
	}
	wg.Wait()
	note(requesters, func() map[slotInput]slotOutput { return r.lookAt(t) })
	result := porcupine.CheckOperationsTimeout(slotModel, history, 5*time.Minute)
	gone := 0
	for _, s := range r.slots(t) {
		if s.GetState() == compostlotv1.SlotState_SLOT_STATE_WITHDRAWN {
			gone++
		}
	}
	t.Logf("%d operations on slots in %v, %d slots withdrawn", len(history), time.Since(start), gone)
	if result != porcupine.Ok || gone != 4 {
		t.Errorf("the history is %s, %d slots withdrawn", result, gone)
	}
	// The check has teeth: a kilogram too much in one answer is found.
	for i, op := range history {
		if out := op.Output.(slotOutput); sum(out.kg) > 0 {
			out.kg = maps.Clone(out.kg)
			out.kg[slices.Min(slices.Collect(maps.Keys(out.kg)))]++
			history[i].Output = out
			break
		}
	}
	if porcupine.CheckOperationsTimeout(slotModel, history, 5*time.Minute) == porcupine.Ok {
		t.Error("a kilogram granted from nowhere is not found")
	}
}

// aprilDay is a day of its own for each slot, from 1 April on.
func aprilDay(slot int) string {
	return time.Date(2026, time.April, 1+slot, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
}

func (r *rig) askOne(t *testing.T, i, s int, room string) map[slotInput]slotOutput {
	day := aprilDay(s)
	req := asks(fmt.Sprintf("r%03d", i), room, int64(100+i%90), day, day)
	if _, err := r.RequestCompost(r.office(t), &compostlotv1.RequestCompostRequest{RequestId: ids.New(), CompostRequest: req}); err != nil {
		t.Errorf("request %d: %v", i, err)
	}
	return map[slotInput]slotOutput{{fmt.Sprintf("s%d", s), asked{req.GetCompostRequestId(), req.GetWantedKg()}}: {}}
}

func (r *rig) shareAll(t *testing.T, slots int) map[slotInput]slotOutput {
	out := map[slotInput]slotOutput{}
	for s := range slots {
		out[slotInput{fmt.Sprintf("s%d", s), shareOut{}}] = slotOutput{kg: map[string]int64{}}
	}
	round, err := r.ShareOut(r.office(t), &compostlotv1.ShareOutRequest{RequestId: ids.New(), FromDate: "2026-04-01", ToDate: "2026-05-31", Confirm: true})
	if err != nil && fault.FromStatus(err).Reason != "NOTHING_TO_SHARE" {
		t.Errorf("confirm: %v", err)
	}
	for _, share := range round.GetShares() {
		for _, part := range share.GetSlots() {
			out[slotInput{part.GetSlotId(), shareOut{}}].kg[share.GetCompostRequestId()] = part.GetGrantedKg()
		}
	}
	return out
}

func (r *rig) withdrawOne(t *testing.T, s int) map[slotInput]slotOutput {
	id := fmt.Sprintf("s%d", s)
	answer, err := r.WithdrawSlot(r.office(t), &compostlotv1.WithdrawSlotRequest{RequestId: ids.New(), SlotId: id, Notice: "tunnel down"})
	if err != nil {
		t.Errorf("withdraw: %v", err)
	}
	lost := map[string]int64{}
	for _, a := range answer.GetAffected() {
		if a.GetLostKg() > 0 {
			lost[a.GetCompostRequestId()] = a.GetLostKg()
		}
	}
	return map[slotInput]slotOutput{{id, withdrawn{}}: {kg: lost}}
}

func (r *rig) lookAt(t *testing.T) map[slotInput]slotOutput {
	out := map[slotInput]slotOutput{}
	list, err := r.ListSlots(r.office(t), &compostlotv1.ListSlotsRequest{FromDate: "2026-04-01", ToDate: "2026-05-31"})
	if err != nil {
		t.Errorf("list: %v", err)
	}
	for _, s := range list.GetSlots() {
		out[slotInput{s.GetSlotId(), looked{}}] = slotOutput{free: s.GetFreeKg(), gone: s.GetState() == compostlotv1.SlotState_SLOT_STATE_WITHDRAWN}
	}
	return out
}
