package server

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
)

// SaveCustomer implements OrderService.
func (s *Server) SaveCustomer(ctx context.Context, req *orderv1.SaveCustomerRequest) (*orderv1.Customer, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.Customer{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.Customer, error) {
		saved, err := s.saveCustomers(ctx, tx, []*orderv1.Customer{req.GetCustomer()}, func(int) string { return "customer" })
		if err != nil {
			return nil, err
		}
		return saved[0], nil
	})
}

// BatchSaveCustomers implements OrderService.
func (s *Server) BatchSaveCustomers(ctx context.Context, req *orderv1.BatchSaveCustomersRequest) (*orderv1.BatchSaveCustomersResponse, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.BatchSaveCustomersResponse{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.BatchSaveCustomersResponse, error) {
		saved, err := s.saveCustomers(ctx, tx, req.GetCustomers(), func(i int) string { return fmt.Sprintf("customers[%d]", i) })
		return &orderv1.BatchSaveCustomersResponse{Customers: saved}, err
	})
}

// saveCustomers saves all or none.
func (s *Server) saveCustomers(ctx context.Context, tx pgx.Tx, given []*orderv1.Customer, path func(int) string) ([]*orderv1.Customer, error) {
	if err := store.Take(ctx, tx, store.Catalogue); err != nil {
		return nil, err
	}
	ids, err := distinct(given, (*orderv1.Customer).GetCustomerId, func(i int) string { return path(i) + ".customer_id" })
	if err != nil {
		return nil, err
	}
	stored, err := store.CustomersByID(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	products, err := store.ProductsByID(ctx, tx, productsNamed(given))
	if err != nil {
		return nil, err
	}
	saved := make([]*orderv1.Customer, len(given))
	var rows []store.Customer
	for i, c := range given {
		last, found := stored[c.GetCustomerId()]
		wished, err := wishesIn(c, path(i), products)
		if err != nil {
			return nil, err
		}
		row := store.Customer{
			ID: c.GetCustomerId(), Name: c.GetName(), Place: c.GetPlace(), Class: c.GetPriorityClass(), Wishes: wished, Change: last.Change,
		}
		write, err := saving.Save{
			Thing: fmt.Sprintf("customer %q", row.ID), Path: path(i), Etag: c.GetEtag(), Found: found, Equal: row == last, Last: last.Change,
		}.Decide()
		if err != nil {
			return nil, err
		}
		if write {
			row.Change = s.change(ctx, last.Version+1)
			rows = append(rows, row)
		}
		if saved[i], err = customerOut(row); err != nil {
			return nil, err
		}
	}
	return saved, store.SaveCustomers(ctx, tx, rows)
}

// ListCustomers implements OrderService. A buyer sees the own kitchen.
func (s *Server) ListCustomers(ctx context.Context, _ *orderv1.ListCustomersRequest) (*orderv1.ListCustomersResponse, error) {
	id := identity.Must(ctx)
	resp := &orderv1.ListCustomersResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		all, err := store.Customers(ctx, tx)
		if err != nil {
			return err
		}
		for _, c := range all {
			if ownCustomer(id, c.ID) != nil {
				continue
			}
			out, err := customerOut(c)
			if err != nil {
				return err
			}
			resp.Customers = append(resp.Customers, out)
		}
		return nil
	})
	return resp, err
}

func customerOut(c store.Customer) (*orderv1.Customer, error) {
	return wishesOut(c, &orderv1.Customer{CustomerId: c.ID, Name: c.Name, Place: c.Place, PriorityClass: c.Class, Etag: etag(c.Version)})
}

// distinct takes the ids out of a batch and refuses one that stands there twice.
func distinct[T any](given []T, id func(T) string, path func(int) string) ([]string, error) {
	ids, first := make([]string, len(given)), make(map[string]int, len(given))
	for i, each := range given {
		ids[i] = id(each)
		if at, there := first[ids[i]]; there {
			return nil, twice(path(i), ids[i], at)
		}
		first[ids[i]] = i
	}
	return ids, nil
}
