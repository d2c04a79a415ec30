package web_test

import (
	"fmt"
	"strings"
	"testing"

	"breakshare.example/gateway/internal/fakecoop"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

func TestTracePackBack(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/trace?code=ab-1125-001").ok()
	p.says("h2", "Pack ab-1125-001").says("dd", "The Copper Pan , Wed 25 Nov").says("dd", "Alder Brook Farm , House 1").says("li", "quarry-end-26-37 Quarry End Yard 22 000 kg on Thu 1 Oct released by Hugh")
	if n := len(all(p.root, "g.node")); n != 5 {
		t.Errorf("%d members are drawn, want compost lot, crop, pick lot, pack and the kitchen that has it", n)
	}
	if n := len(all(p.root, "path.edge")); n != 4 {
		t.Errorf("%d lines, want 4", n)
	}
	lot := r.get("/trace?code=" + attr(find(p.root, "dd a.code"), "href")[len("/trace?code="):]).ok()
	lot.says("h2", "Pick lot").says("li", "quarry-end-26-37")
}

func TestTraceCompostForward(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/trace?code=%20quarry-end-26-37%20").ok()
	p.says("#recall", "Who has packs from it").says("main", "30 packs left a farm; kitchens to call: 2.").says("ul.recall li", "Harbour Light White closed cups, 2 kg · Wed 25 Nov, left the farm 15 packs").says(".caution", "A recall is a named person's decision.")
	if n := len(all(p.root, "g.node")); n != 1+2+2+2 {
		t.Errorf("%d members are drawn", n)
	}
	r.get("/trace?code=nothing-of-ours").ok().says("p.alert", "No pack, pick lot or compost lot has the code “nothing-of-ours”")
	r.get("/trace?code=%3Cscript%3E").ok().says("p.alert", "“<script>”")
}

// TestLargeFamilyIsSummedUp: the drawing and the page stay small, the list stays whole.
func TestLargeFamilyIsSummedUp(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator, func(c *fakecoop.Coop) {
		c.Trace.PickLots, c.Trace.Packs, c.Customers = nil, nil, nil
		for i := range 30 {
			c.Customers = append(c.Customers, &orderv1.Customer{CustomerId: fmt.Sprintf("kitchen-%d", i), Name: fmt.Sprintf("Kitchen %d", i)})
		}
		number := 0
		for i := range 60 {
			lot := &harvestv1.PickLot{PickLotId: fmt.Sprintf("lot-%d", i), FarmId: "alder-brook", RoomId: "alder-brook-1", CropId: c.Trace.Crops[i%2].CropId, ProductId: "white-closed-2kg", Date: fakecoop.Today}
			c.Trace.PickLots = append(c.Trace.PickLots, lot)
			for range 50 {
				number++
				c.Trace.Packs = append(c.Trace.Packs, &orderv1.Pack{PackId: fmt.Sprintf("p-%05d", number), PickLotId: lot.PickLotId, ProductId: lot.ProductId, CustomerId: c.Customers[i/2].CustomerId, DeliveryDate: fakecoop.Today})
			}
		}
	})
	p := r.get("/trace?code=quarry-end-26-37").ok()
	if n := len(all(p.root, "g.node")); n != 1+2+2+1 {
		t.Errorf("%d members are drawn, want sums", n)
	}
	p.says("g.node", "30 pick lots").says("g.node", "30 kitchens 3 000 packs").says("p.code", "p-00001–00050").says("p.code", "p-02951–03000")
	if len(p.text) > 100_000 {
		t.Errorf("the page has %d bytes", len(p.text))
	}
	if n := len(all(p.root, "ul.recall li")); n != 60 {
		t.Errorf("the list has %d rows, want each of the 60 lots", n)
	}
}

func TestHeldAndExceptionAreToldInWords(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator, func(c *fakecoop.Coop) {
		c.Trace.Compost.Held, c.Trace.Compost.ExceptionReason = true, "Meter broke."
		c.Trace.PickLots[0].Held, c.Trace.PickLots[0].HoldReason = true, "its compost is held"
	})
	forward := r.get("/trace?code=quarry-end-26-37").ok()
	forward.says("p.alert", "quarry-end-26-37 is held").says("p.alert", "Released as an exception: Meter broke.")
	if marked := words(find(forward.root, "g.marked")); !strings.HasPrefix(marked, "⚠") {
		t.Errorf("the held lot is drawn as %q: colour alone tells nothing", marked)
	}
	r.get("/trace?code=ab-1125-001").ok().says("p.alert", "Held: its compost is held")
}
