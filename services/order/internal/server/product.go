package server

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
)

// SaveProduct implements OrderService.
func (s *Server) SaveProduct(ctx context.Context, req *orderv1.SaveProductRequest) (*orderv1.Product, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.Product{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.Product, error) {
		saved, err := s.saveProducts(ctx, tx, []*orderv1.Product{req.GetProduct()}, func(int) string { return "product" })
		if err != nil {
			return nil, err
		}
		return saved[0], nil
	})
}

// BatchSaveProducts implements OrderService.
func (s *Server) BatchSaveProducts(ctx context.Context, req *orderv1.BatchSaveProductsRequest) (*orderv1.BatchSaveProductsResponse, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.BatchSaveProductsResponse{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.BatchSaveProductsResponse, error) {
		saved, err := s.saveProducts(ctx, tx, req.GetProducts(), func(i int) string { return fmt.Sprintf("products[%d]", i) })
		return &orderv1.BatchSaveProductsResponse{Products: saved}, err
	})
}

// saveProducts saves all or none and tells of each that changed.
func (s *Server) saveProducts(ctx context.Context, tx pgx.Tx, given []*orderv1.Product, path func(int) string) ([]*orderv1.Product, error) {
	if err := store.Take(ctx, tx, store.Catalogue); err != nil {
		return nil, err
	}
	ids, err := distinct(given, (*orderv1.Product).GetProductId, func(i int) string { return path(i) + ".product_id" })
	if err != nil {
		return nil, err
	}
	stored, err := store.ProductsByID(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	saved := make([]*orderv1.Product, len(given))
	var rows []store.Product
	for i, p := range given {
		last, found := stored[p.GetProductId()]
		row := productIn(p)
		row.Change = last.Change
		write, err := saving.Save{
			Thing: fmt.Sprintf("product %q", row.ID), Path: path(i), Etag: p.GetEtag(), Found: found, Equal: row == last, Last: last.Change,
		}.Decide()
		if err != nil {
			return nil, err
		}
		if !write {
			saved[i] = productOut(row)
			continue
		}
		row.Change = s.change(ctx, last.Version+1)
		rows, saved[i] = append(rows, row), productOut(row)
		if err := tell(ctx, tx, "product", "saved", row.ID, &orderv1.ProductSaved{Product: saved[i], Version: row.Version}); err != nil {
			return nil, err
		}
	}
	return saved, store.SaveProducts(ctx, tx, rows)
}

// ListProducts implements OrderService.
func (s *Server) ListProducts(ctx context.Context, _ *orderv1.ListProductsRequest) (*orderv1.ListProductsResponse, error) {
	resp := &orderv1.ListProductsResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		all, err := store.Products(ctx, tx)
		for _, p := range all {
			resp.Products = append(resp.Products, productOut(p))
		}
		return err
	})
	return resp, err
}

func productIn(p *orderv1.Product) store.Product {
	return store.Product{
		ID: p.GetProductId(), Name: p.GetName(), Species: p.GetSpecies(), Strain: p.GetStrain(), PickStage: int32(p.GetPickStage()),
		Size: p.GetSize(), Grade: p.GetGrade(), PackGrams: p.GetPackGrams(), PackValueMinor: p.GetPackValueMinor(), ShelfLifeDays: p.GetShelfLifeDays(),
	}
}

func productOut(p store.Product) *orderv1.Product {
	return &orderv1.Product{
		ProductId: p.ID, Name: p.Name, Species: p.Species, Strain: p.Strain, PickStage: typev1.PickStage(p.PickStage),
		Size: p.Size, Grade: p.Grade, PackGrams: p.PackGrams, PackValueMinor: p.PackValueMinor, ShelfLifeDays: p.ShelfLifeDays, Etag: etag(p.Version),
	}
}
