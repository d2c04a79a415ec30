package importer

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"breakshare.example/deploy/internal/coopfiles"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

func TestPlaceOfAField(t *testing.T) {
	t.Parallel()
	batch := source{file: "f.csv", lines: [][]int{{2}, {3, 7, 9}}, columns: map[string]string{"value_thousandths": "value", "criteria": ""}}
	row := source{file: "f.csv", lines: [][]int{{5, 6}}, row: true}
	for _, test := range []struct {
		from   source
		path   string
		line   int
		column string
	}{
		{batch, "farms[0].area_m2", 2, "area_m2"},
		{batch, "orders[1].lines[2].product_id", 9, "product_id"},
		{batch, "orders[1].customer_id", 3, "customer_id"},
		{batch, "orders[1].lines", 3, "lines"},
		{batch, "orders[1].phases[1]", 3, "phases"},
		{batch, "readings[0].value_thousandths", 2, "value"},
		{batch, "releases[1].criteria.ammonia-10ppm", 3, ""},
		{batch, "farms[1]", 3, ""},
		{batch, "coop.name", 2, "name"},
		{batch, "farms[2].name", 0, ""},
		{batch, "farms[99999999999999999999].name", 0, ""},
		{row, "lot_id", 5, "lot_id"},
		{row, "lines[1].packs", 6, "packs"},
		{batch, "", 0, ""},
	} {
		if line, column := test.from.place(test.path); line != test.line || column != test.column {
			t.Errorf("%q: got line %d, column %q; want %d, %q", test.path, line, column, test.line, test.column)
		}
	}
}

func TestExplain(t *testing.T) {
	t.Parallel()
	from := source{file: "farms.csv", lines: [][]int{{2}, {3}}}
	err := from.explain(fault.New(fault.Invalid, "X", "two things are wrong").WithField("farms[1].name", "is odd").WithField("etag", "is old"))
	var got *coopfiles.Problems
	if !errors.As(err, &got) {
		t.Fatalf("got %v", err)
	}
	want := []coopfiles.Problem{{File: "farms.csv", Line: 3, Column: "name", Text: "is odd"}, {File: "farms.csv", Line: 2, Column: "", Text: "etag is old"}}
	if diff := cmp.Diff(want[:1], got.List[:1]); diff != "" {
		t.Errorf("problems (-want +got):\n%s", diff)
	}
	plain := from.explain(fault.New(fault.Unavailable, "X", "gone"))
	if errors.As(plain, &got) || !strings.HasPrefix(plain.Error(), "farms.csv: ") || fault.KindOf(plain) != fault.Unavailable {
		t.Errorf("got %v, want the fault with the file's name", plain)
	}
}

func TestRequestIDFollowsFromTheContent(t *testing.T) {
	t.Parallel()
	r := &run{files: &coopfiles.Folder{Coop: coopfiles.Coop{CoopID: ids.New()}}}
	other := &run{files: &coopfiles.Folder{Coop: coopfiles.Coop{CoopID: ids.New()}}}
	req := &schedulingv1.BatchSaveFarmsRequest{Farms: []*schedulingv1.Farm{{FarmId: "a"}}}
	more := &schedulingv1.BatchSaveFarmsRequest{Farms: []*schedulingv1.Farm{{FarmId: "a"}, {FarmId: "b"}}}
	id := r.requestID("farms.csv", req)
	if !ids.Valid(id) || id != r.requestID("farms.csv", req) {
		t.Errorf("%s is no UUID that comes again", id)
	}
	for what, another := range map[string]string{
		"another content": r.requestID("farms.csv", more), "another file": r.requestID("rooms.csv", req), "another co-op": other.requestID("farms.csv", req),
	} {
		if another == id {
			t.Errorf("%s has the same id", what)
		}
	}
}

func TestMayPass(t *testing.T) {
	t.Parallel()
	unknown := fault.New(fault.NotFound, "X", "no such room")
	r := &run{Importer: Importer{Patience: time.Hour}}
	if r.mayPass(unknown) {
		t.Error("nothing was told, so nobody is behind")
	}
	r.told = time.Now()
	if !r.mayPass(unknown) {
		t.Error("a service may be behind what was just told")
	}
	if r.mayPass(fault.New(fault.Forbidden, "X", "no")) || r.mayPass(fault.New(fault.Stale, "X", "no")) {
		t.Error("waiting helps neither the wrong role nor an old etag")
	}
	r.told = time.Now().Add(-2 * time.Hour)
	if r.mayPass(unknown) {
		t.Error("the patience is over")
	}
}

func TestCompareKeepsWhatTheFileDoesNotSay(t *testing.T) {
	t.Parallel()
	have := map[string]*orderv1.Product{
		"a": {ProductId: "a", Name: "A", PackGrams: 100, Etag: "1"},
		"b": {ProductId: "b", Name: "B", Grade: "I", PackGrams: 100, Etag: "2"},
	}
	wanted := []item[*orderv1.Product]{
		{&orderv1.Product{ProductId: "a", Name: "A", PackGrams: 200}, []int{2}},
		{&orderv1.Product{ProductId: "b", Name: "B", PackGrams: 100}, []int{3}},
		{&orderv1.Product{ProductId: "c", Name: "C", PackGrams: 100}, []int{4}},
	}
	p := compare(wanted, have, (*orderv1.Product).GetProductId, "name", "pack_grams")
	if p.same != 1 || len(p.fresh) != 1 || len(p.changed) != 1 {
		t.Fatalf("got %+v", p)
	}
	want := &orderv1.Product{ProductId: "a", Name: "A", PackGrams: 200, Etag: "1"}
	if diff := cmp.Diff(want, p.changed[0].message, protocmp.Transform()); diff != "" {
		t.Errorf("changed (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([][]int{{4}, {2}}, linesOf(p.all())); diff != "" {
		t.Errorf("lines (-want +got):\n%s", diff)
	}
	if have["a"].GetPackGrams() != 100 {
		t.Error("what was read has been changed")
	}
}

func TestGatherOrders(t *testing.T) {
	t.Parallel()
	orders, days := gatherOrders([]coopfiles.OrderRow{
		{At: coopfiles.At{Line: 2}, OrderID: "o1", CustomerID: "k", DeliveryDate: "2026-11-26", ProductID: "z", Packs: 1},
		{At: coopfiles.At{Line: 3}, OrderID: "o2", CustomerID: "k", DeliveryDate: "2026-11-25", ProductID: "b", Packs: 2},
		{At: coopfiles.At{Line: 4}, OrderID: "o1", CustomerID: "k", DeliveryDate: "2026-11-26", ProductID: "a", Packs: 3},
	})
	if diff := cmp.Diff([]string{"2026-11-25", "2026-11-26"}, days); diff != "" {
		t.Error(diff)
	}
	want := []*orderv1.Order{
		{OrderId: "o1", CustomerId: "k", DeliveryDate: "2026-11-26", Lines: []*orderv1.OrderLine{{ProductId: "a", Packs: 3}, {ProductId: "z", Packs: 1}}},
		{OrderId: "o2", CustomerId: "k", DeliveryDate: "2026-11-25", Lines: []*orderv1.OrderLine{{ProductId: "b", Packs: 2}}},
	}
	if diff := cmp.Diff(want, messages(orders), protocmp.Transform()); diff != "" {
		t.Errorf("orders (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([][]int{{4, 2}, {3}}, linesOf(orders)); diff != "" {
		t.Errorf("lines (-want +got):\n%s", diff)
	}
}
