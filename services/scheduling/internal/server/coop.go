package server

import (
	"context"
	"time"
	_ "time/tzdata" // time zones are known on machines that have no files of them

	"github.com/jackc/pgx/v5"
	"golang.org/x/text/currency"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
	"breakshare.example/services/scheduling/internal/store"
)

// SaveCoop creates or changes the co-op's settings.
func (s *Server) SaveCoop(ctx context.Context, req *schedulingv1.SaveCoopRequest) (*schedulingv1.Coop, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.Coop{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.Coop, error) {
		return s.saveCoop(ctx, tx, req.GetCoop())
	})
}

func (s *Server) saveCoop(ctx context.Context, tx pgx.Tx, in *schedulingv1.Coop) (*schedulingv1.Coop, error) {
	if err := checkCoop(in); err != nil {
		return nil, err
	}
	old, found, err := store.GetCoop(ctx, tx)
	if err != nil {
		return nil, err
	}
	coop := store.Coop{Name: in.GetName(), TimeZone: in.GetTimeZone(), CurrencyCode: in.GetCurrencyCode(), MassUnit: "kg", TemperatureUnit: "C", Change: old.Change}
	if in.GetMassUnit() == schedulingv1.MassUnit_MASS_UNIT_POUND {
		coop.MassUnit = "lb"
	}
	if in.GetTemperatureUnit() == schedulingv1.TemperatureUnit_TEMPERATURE_UNIT_FAHRENHEIT {
		coop.TemperatureUnit = "F"
	}
	save := saving.Save{Thing: "co-op's settings", Path: "coop", Etag: in.GetEtag(), Found: found, Equal: coop == old, Last: old.Change}
	write, err := save.Decide()
	if err != nil || !write {
		return coopMessage(old), err
	}
	coop.Change = s.change(ctx, old.Version+1)
	id := identity.Must(ctx).CoopID
	if ok, err := store.PutCoop(ctx, tx, id, coop); err != nil {
		return nil, err
	} else if !ok {
		return nil, saving.Raced(save.Thing)
	}
	answer := coopMessage(coop)
	return answer, tell(ctx, tx, "coop", "saved", id, &schedulingv1.CoopSaved{Coop: answer, Version: coop.Version})
}

// GetCoop returns the co-op's settings.
func (s *Server) GetCoop(ctx context.Context, _ *schedulingv1.GetCoopRequest) (*schedulingv1.Coop, error) {
	var coop store.Coop
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		var found bool
		var err error
		if coop, found, err = store.GetCoop(ctx, tx); err == nil && !found {
			return fault.New(fault.NotFound, "NO_COOP", "the co-op has no settings yet; save its name, time zone and currency first")
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return coopMessage(coop), nil
}

func checkCoop(in *schedulingv1.Coop) error {
	zone := in.GetTimeZone()
	if _, err := time.LoadLocation(zone); err != nil || zone == "Local" {
		return fault.InvalidField("coop.time_zone", "%q is no time zone of the IANA database; write one like \"Europe/Dublin\"", zone)
	}
	if _, err := currency.ParseISO(in.GetCurrencyCode()); err != nil {
		return fault.InvalidField("coop.currency_code", "%q is no currency of ISO 4217; write one like \"EUR\"", in.GetCurrencyCode())
	}
	return nil
}

func coopMessage(c store.Coop) *schedulingv1.Coop {
	message := &schedulingv1.Coop{
		Name: c.Name, TimeZone: c.TimeZone, CurrencyCode: c.CurrencyCode, Etag: etag(c.Version),
		MassUnit: schedulingv1.MassUnit_MASS_UNIT_KILOGRAM, TemperatureUnit: schedulingv1.TemperatureUnit_TEMPERATURE_UNIT_CELSIUS,
	}
	if c.MassUnit == "lb" {
		message.MassUnit = schedulingv1.MassUnit_MASS_UNIT_POUND
	}
	if c.TemperatureUnit == "F" {
		message.TemperatureUnit = schedulingv1.TemperatureUnit_TEMPERATURE_UNIT_FAHRENHEIT
	}
	return message
}
