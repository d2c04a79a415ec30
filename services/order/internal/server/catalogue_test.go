package server_test

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

func TestSaveCustomerCreatesChangesAndRefusesStaleEtags(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	save := func(c *orderv1.Customer) (*orderv1.Customer, error) {
		return r.SaveCustomer(r.office(t), &orderv1.SaveCustomerRequest{RequestId: ids.New(), Customer: c})
	}
	first := must[*orderv1.Customer](t)(save(customer("anchor", 1)))
	diff(t, "saved again", first, must[*orderv1.Customer](t)(save(customer("anchor", 1))))

	_, err := save(customer("anchor", 2))
	f := refused(t, err, fault.Stale, "ETAG_NEEDED", "customer.etag")
	if !strings.Contains(f.Message, "Office") {
		t.Errorf("%q does not say who saved it", f.Message)
	}
	change := proto.CloneOf(first)
	change.PriorityClass = 3
	second := must[*orderv1.Customer](t)(save(change))
	if second.GetPriorityClass() != 3 || second.GetEtag() == first.GetEtag() {
		t.Errorf("after the change: %v", second)
	}
	change.PriorityClass = 4
	_, err = save(change)
	refused(t, err, fault.Stale, "STALE_ETAG", "customer.etag")
	unknown := customer("dragon", 1)
	unknown.Etag = "v1"
	_, err = save(unknown)
	refused(t, err, fault.NotFound, "NOTHING_TO_CHANGE", "customer.etag")
	diff(t, "listed", []*orderv1.Customer{second},
		must[*orderv1.ListCustomersResponse](t)(r.ListCustomers(r.office(t), &orderv1.ListCustomersRequest{})).GetCustomers())
}

func TestBatchSaveProductsTakesAllOrNone(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	batch := func(products ...*orderv1.Product) (*orderv1.BatchSaveProductsResponse, error) {
		return r.BatchSaveProducts(r.office(t), &orderv1.BatchSaveProductsRequest{RequestId: ids.New(), Products: products})
	}
	heavy := product("heavy")
	heavy.PackGrams = 100_001
	cases := []struct {
		name, field string
		products    []*orderv1.Product
	}{
		{"a pack too heavy", "products[1].pack_grams", []*orderv1.Product{product("white"), heavy}},
		{"twice", "products[2].product_id", []*orderv1.Product{product("white"), product("oyster"), product("white")}},
	}
	for _, c := range cases {
		_, err := batch(c.products...)
		refused(t, err, fault.Invalid, "", c.field)
	}
	if n := len(r.events(t)); n != 0 {
		t.Fatalf("%d events of refused batches", n)
	}
	saved := must[*orderv1.BatchSaveProductsResponse](t)(batch(product("white"), product("oyster"))).GetProducts()
	events := r.events(t)
	diff(t, "events", []string{"product.saved white", "product.saved oyster"}, r.subjects(t, 0))
	diff(t, "the event's product", &orderv1.ProductSaved{Product: saved[0], Version: 1}, events[0].Payload)

	// One changes, one stays: one event.
	change := proto.CloneOf(saved[1])
	change.ShelfLifeDays = 5
	again := must[*orderv1.BatchSaveProductsResponse](t)(batch(product("white"), change)).GetProducts()
	diff(t, "the one that stays", saved[0], again[0])
	diff(t, "events", []string{"product.saved oyster"}, r.subjects(t, 2))
	listed := must[*orderv1.ListProductsResponse](t)(r.ListProducts(r.office(t), &orderv1.ListProductsRequest{})).GetProducts()
	diff(t, "listed by id", []*orderv1.Product{again[1], again[0]}, listed)
}

func TestTheSameRequestGetsTheFirstAnswer(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	req := &orderv1.SaveProductRequest{RequestId: ids.New(), Product: product("white")}
	first := must[*orderv1.Product](t)(r.SaveProduct(r.office(t), req))
	change := proto.CloneOf(first)
	change.Name = "Another name"
	must[*orderv1.Product](t)(r.SaveProduct(r.office(t), &orderv1.SaveProductRequest{RequestId: ids.New(), Product: change}))
	diff(t, "sent again", first, must[*orderv1.Product](t)(r.SaveProduct(r.office(t), req)))
	diff(t, "events", []string{"product.saved white", "product.saved white"}, r.subjects(t, 0))
	req.Product = product("oyster")
	_, err := r.SaveProduct(r.office(t), req)
	refused(t, err, fault.Exists, "REQUEST_ID_REUSED", "")
}
