package server

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/lotpage"
	"breakshare.example/services/compostlot/internal/members"
	"breakshare.example/services/compostlot/internal/store"
)

// GetLotDocument implements CompostLotService.
func (s *Server) GetLotDocument(ctx context.Context, req *compostlotv1.GetLotDocumentRequest) (*compostlotv1.LotDocument, error) {
	if err := s.o.Members.Learn(ctx, members.Wanted{Coop: true}); err != nil {
		return nil, err
	}
	var (
		report *compostlotv1.LotReport
		chart  *compostlotv1.LotChart
		zone   *time.Location
	)
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		lot, ok, err := store.FindLot(ctx, tx, req.GetLotId())
		if err != nil {
			return err
		}
		if !ok {
			return unknownLot("", req.GetLotId())
		}
		if zone, err = coopZone(ctx, tx); err != nil {
			return err
		}
		if report, err = s.report(ctx, tx, lot); err != nil {
			return err
		}
		chart, err = s.lotChart(ctx, tx, lot, &compostlotv1.GetLotChartRequest{LotId: lot.ID})
		return err
	})
	if err != nil {
		return nil, err
	}
	if req.GetFormat() == compostlotv1.DocumentFormat_DOCUMENT_FORMAT_HTML {
		content, err := lotpage.HTML(report, chart, zone)
		return &compostlotv1.LotDocument{ContentType: "text/html; charset=utf-8", FileName: req.GetLotId() + ".html", Content: content}, err
	}
	content, err := lotpage.PDF(report, chart, zone, s.now())
	if err != nil {
		return nil, fmt.Errorf("lot %s: %w", req.GetLotId(), err)
	}
	return &compostlotv1.LotDocument{ContentType: "application/pdf", FileName: req.GetLotId() + ".pdf", Content: content}, nil
}
