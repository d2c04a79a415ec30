package server

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
)

// SaveMatchSettings implements OrderService.
func (s *Server) SaveMatchSettings(ctx context.Context, req *orderv1.SaveMatchSettingsRequest) (*orderv1.MatchSettings, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.MatchSettings{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.MatchSettings, error) {
		if err := store.Take(ctx, tx, store.Catalogue); err != nil {
			return nil, err
		}
		last, kept, err := settingsNow(ctx, tx)
		if err != nil {
			return nil, err
		}
		given := proto.CloneOf(req.GetSettings())
		given.Etag = ""
		if err := checkSettings(given); err != nil {
			return nil, err
		}
		write, err := saving.Save{
			Thing: "match settings", Path: "settings", Etag: req.GetSettings().GetEtag(), Found: last.Version > 0,
			Equal: proto.Equal(given, kept), Last: last.Change,
		}.Decide()
		if err != nil {
			return nil, err
		}
		if write {
			if last, err = s.writeSettings(ctx, tx, given, last.Version+1); err != nil {
				return nil, err
			}
		}
		given.Etag = etag(last.Version)
		return given, nil
	})
}

// writeSettings stores the settings.
func (s *Server) writeSettings(ctx context.Context, tx pgx.Tx, given *orderv1.MatchSettings, version int64) (store.Settings, error) {
	text, err := protojson.Marshal(given)
	if err != nil {
		return store.Settings{}, fmt.Errorf("write match settings: %w", err)
	}
	// protojson puts spaces in at random.
	var compacted bytes.Buffer
	if err := json.Compact(&compacted, text); err != nil {
		return store.Settings{}, fmt.Errorf("write match settings: %w", err)
	}
	row := store.Settings{JSON: compacted.String(), Change: s.change(ctx, version)}
	return row, store.SaveMatchSettings(ctx, tx, row)
}

// GetMatchSettings implements OrderService.
func (s *Server) GetMatchSettings(ctx context.Context, _ *orderv1.GetMatchSettingsRequest) (*orderv1.MatchSettings, error) {
	var out *orderv1.MatchSettings
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		row, kept, err := settingsNow(ctx, tx)
		if out = kept; err == nil && row.Version > 0 {
			out.Etag = etag(row.Version)
		}
		return err
	})
	return out, err
}

// settingsNow reads the settings, empty ones where none were saved.
func settingsNow(ctx context.Context, db pg.DB) (store.Settings, *orderv1.MatchSettings, error) {
	kept := &orderv1.MatchSettings{}
	row, err := store.MatchSettings(ctx, db)
	if err != nil || row.Version == 0 {
		return row, kept, err
	}
	// What a later version of the suite wrote in addition does no harm.
	if err := (protojson.UnmarshalOptions{DiscardUnknown: true}).Unmarshal([]byte(row.JSON), kept); err != nil {
		return row, kept, fmt.Errorf("read match settings: %w", err)
	}
	return row, kept, nil
}

// checkSettings refuses what the shape of the message cannot.
func checkSettings(m *orderv1.MatchSettings) error {
	if m.GetSeasonStart() != "" {
		if _, err := dayNumber("settings.season_start", m.GetSeasonStart()); err != nil {
			return err
		}
	}
	costs := func(i int) string { return fmt.Sprintf("settings.promise_costs[%d].product_id", i) }
	if _, err := distinct(m.GetPromiseCosts(), (*orderv1.PromiseCost).GetProductId, costs); err != nil {
		return err
	}
	for i, c := range m.GetPromiseCosts() {
		if c.GetBrokenMinorPerKg()+c.GetUnsoldMinorPerKg() == 0 {
			return fault.InvalidField(fmt.Sprintf("settings.promise_costs[%d].broken_minor_per_kg", i), "both costs are 0, which says nothing: give one above 0")
		}
	}
	pair := func(z *orderv1.ZoneCost) string { return z.GetFarmId() + " to " + z.GetZoneId() }
	if _, err := distinct(m.GetZoneCosts(), pair, func(i int) string { return fmt.Sprintf("settings.zone_costs[%d].zone_id", i) }); err != nil {
		return err
	}
	_, err := distinct(m.GetHeldFarms(), (*orderv1.FarmHold).GetFarmId, func(i int) string { return fmt.Sprintf("settings.held_farms[%d].farm_id", i) })
	return err
}
