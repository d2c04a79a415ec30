package server

import (
	"context"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/match"
	"breakshare.example/services/order/internal/store"
)

// GetSeason implements OrderService.
func (s *Server) GetSeason(ctx context.Context, req *orderv1.GetSeasonRequest) (*orderv1.GetSeasonResponse, error) {
	if _, err := dayNumber("delivery_date", req.GetDeliveryDate()); err != nil {
		return nil, err
	}
	resp := &orderv1.GetSeasonResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		_, settings, err := settingsNow(ctx, tx)
		if err != nil {
			return err
		}
		season, ahead, err := seasonBefore(ctx, tx, settings, req.GetDeliveryDate())
		resp.FromDate = seasonStart(settings, req.GetDeliveryDate())
		for i, f := range season {
			resp.Farms = append(resp.Farms, &orderv1.FarmSeason{FarmId: f.Farm, Offered: f.Offered, Matched: f.Matched, Ahead: ahead[i]})
		}
		return err
	})
	return resp, err
}

// seasonBefore sums up the season before a day, and how far each farm is ahead in it.
func seasonBefore(ctx context.Context, tx pgx.Tx, settings *orderv1.MatchSettings, date string) ([]store.MatchFarm, []int64, error) {
	season, err := store.Season(ctx, tx, seasonStart(settings, date), date)
	if err != nil {
		return nil, nil, err
	}
	var shares map[string]int64
	if settings.GetLeftRule() == orderv1.LeftRule_LEFT_RULE_BY_SHARES {
		if shares, err = store.MemberShares(ctx, tx); err != nil {
			return nil, nil, err
		}
	}
	sums := make([]match.FarmSum, len(season))
	for i, f := range season {
		sums[i] = match.FarmSum{Farm: f.Farm, Offered: f.Offered, Matched: f.Matched}
	}
	return season, match.Season(sums, shares), nil
}

// seasonStart is the first day of the season that a day is in.
func seasonStart(settings *orderv1.MatchSettings, date string) string {
	if start := settings.GetSeasonStart(); start != "" {
		return start
	}
	return date[:4] + "-01-01"
}
