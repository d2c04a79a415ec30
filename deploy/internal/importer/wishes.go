package importer

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"google.golang.org/protobuf/reflect/protoreflect"

	"breakshare.example/deploy/internal/coopfiles"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// unknownFarms are farms that a wish names and that neither the files nor the suite have.
func (r *run) unknownFarms() []coopfiles.Problem {
	known := make(map[string]bool, len(r.have.farms))
	for id := range r.have.farms {
		known[id] = true
	}
	for _, f := range r.files.Farms {
		known[f.FarmID] = true
	}
	var wrong []coopfiles.Problem
	look := func(line int, column, farm string) {
		if farm != "" && !known[farm] {
			wrong = append(wrong, coopfiles.Problem{
				File: "wishes.csv", Line: line, Column: column, Text: fmt.Sprintf("unknown farm %q, expected one of %s", farm, sortedKeys(known)),
			})
		}
	}
	for _, w := range r.files.Wishes {
		look(w.Line, "only_farm_id", w.OnlyFarmID)
		for _, farm := range w.ExcludedFarmIDs {
			look(w.Line, "excluded_farm_ids", farm)
		}
	}
	return wrong
}

// kitchens reads the customers as they are by now, with their etags.
func (r *run) kitchens(ctx context.Context) (map[string]*orderv1.Customer, error) {
	list, err := r.Order.ListCustomers(ctx, &orderv1.ListCustomersRequest{})
	return byID(list.GetCustomers(), (*orderv1.Customer).GetCustomerId), err
}

// wishes saves what kitchens wish; kitchens that the file does not name keep theirs.
func (r *run) wishes(ctx context.Context) (Outcome, error) {
	have, err := r.kitchens(ctx)
	if err != nil {
		return Outcome{}, err
	}
	var wanted []item[*orderv1.Customer]
	for _, w := range r.files.Wishes {
		c := &orderv1.Customer{
			CustomerId: w.CustomerID, ZoneId: w.ZoneID, ShareWeight: int32(w.ShareWeight), OnlyFarmId: w.OnlyFarmID, OneFarm: w.OneFarm,
			ExcludedFarmIds: slices.Sorted(slices.Values(w.ExcludedFarmIDs)),
		}
		if w.PoorerSteps+w.BetterSteps > 0 {
			c.GradeSteps = &orderv1.GradeSteps{Poorer: int32(w.PoorerSteps), Better: int32(w.BetterSteps), ReluctanceMinorPerStep: w.ReluctanceMinorPerStep}
		}
		wanted = append(wanted, item[*orderv1.Customer]{c, []int{w.Line}})
	}
	p := compare(wanted, have, (*orderv1.Customer).GetCustomerId, "zone_id", "share_weight", "only_farm_id", "one_farm", "excluded_farm_ids", "grade_steps")
	return save(ctx, r, source{file: "wishes.csv", columns: map[string]string{"grade_steps": "poorer_steps"}}, p, batchOfCustomers, r.Order.BatchSaveCustomers)
}

func batchOfCustomers(list []*orderv1.Customer) *orderv1.BatchSaveCustomersRequest {
	return &orderv1.BatchSaveCustomersRequest{Customers: list}
}

// substitutes saves what kitchens take in place of what they order; kitchens that the file does
// not name keep theirs.
func (r *run) substitutes(ctx context.Context) (Outcome, error) {
	have, err := r.kitchens(ctx)
	if err != nil {
		return Outcome{}, err
	}
	at := make(map[string]int)
	var wanted []item[*orderv1.Customer]
	for _, row := range sortedSubstitutes(r.files.Substitutes) {
		i, known := at[row.CustomerID]
		if !known {
			i = len(wanted)
			at[row.CustomerID] = i
			wanted = append(wanted, item[*orderv1.Customer]{&orderv1.Customer{CustomerId: row.CustomerID}, nil})
		}
		c := wanted[i].message
		c.Substitutes = append(c.Substitutes, &orderv1.Substitute{ProductId: row.ProductID, InsteadProductId: row.InsteadProductID, ReluctanceMinor: row.ReluctanceMinor})
		wanted[i].lines = append(wanted[i].lines, row.Line)
	}
	p := compare(wanted, have, (*orderv1.Customer).GetCustomerId, "substitutes")
	return save(ctx, r, source{file: "substitutes.csv", inner: "substitutes"}, p, batchOfCustomers, r.Order.BatchSaveCustomers)
}

// sortedSubstitutes are the rows as the suite keeps them.
func sortedSubstitutes(rows []coopfiles.Substitute) []coopfiles.Substitute {
	return slices.SortedStableFunc(slices.Values(rows), func(a, b coopfiles.Substitute) int {
		return cmp.Compare(a.ProductID+" "+a.InsteadProductID, b.ProductID+" "+b.InsteadProductID)
	})
}

var shortRules = map[string]orderv1.ShortRule{
	"by_weight": orderv1.ShortRule_SHORT_RULE_BY_WEIGHT, "by_ordered": orderv1.ShortRule_SHORT_RULE_BY_ORDERED, "in_turn": orderv1.ShortRule_SHORT_RULE_IN_TURN,
}

var leftRules = map[string]orderv1.LeftRule{
	"by_offer": orderv1.LeftRule_LEFT_RULE_BY_OFFER, "by_shares": orderv1.LeftRule_LEFT_RULE_BY_SHARES, "by_carry": orderv1.LeftRule_LEFT_RULE_BY_CARRY,
}

// matchSettings saves the rules of matches.
func (r *run) matchSettings(ctx context.Context) (Outcome, error) {
	if len(r.files.MatchSettings) == 0 {
		return Outcome{}, nil
	}
	row := r.files.MatchSettings[0]
	return r.saveSettings(ctx, source{file: "match_settings.csv", lines: [][]int{{row.Line}}}, &orderv1.MatchSettings{
		ShortRule: shortRules[row.ShortRule], LeftRule: leftRules[row.LeftRule], SeasonTiltPercent: int32(row.SeasonTiltPercent),
		SeasonStart: row.SeasonStart, CorrelationThousandths: int32(row.CorrelationThousandths), Grades: row.Grades,
	}, "short_rule", "left_rule", "season_tilt_percent", "season_start", "correlation_thousandths", "grades")
}

// promiseCosts saves what promises cost.
func (r *run) promiseCosts(ctx context.Context) (Outcome, error) {
	settings, from := &orderv1.MatchSettings{}, source{file: "promise_costs.csv", inner: "promise_costs", lines: [][]int{{}}}
	rows := slices.SortedFunc(slices.Values(r.files.PromiseCosts), func(a, b coopfiles.PromiseCost) int { return cmp.Compare(a.ProductID, b.ProductID) })
	for _, row := range rows {
		settings.PromiseCosts = append(settings.PromiseCosts, &orderv1.PromiseCost{
			ProductId: row.ProductID, BrokenMinorPerKg: row.BrokenMinorPerKilo, UnsoldMinorPerKg: row.UnsoldMinorPerKilo,
		})
		from.lines[0] = append(from.lines[0], row.Line)
	}
	return r.saveSettings(ctx, from, settings, "promise_costs")
}

// zoneCosts saves what carrying to zones costs.
func (r *run) zoneCosts(ctx context.Context) (Outcome, error) {
	settings, from := &orderv1.MatchSettings{}, source{file: "zone_costs.csv", inner: "zone_costs", lines: [][]int{{}}}
	rows := slices.SortedFunc(slices.Values(r.files.ZoneCosts), func(a, b coopfiles.ZoneCost) int {
		return cmp.Or(cmp.Compare(a.FarmID, b.FarmID), cmp.Compare(a.ZoneID, b.ZoneID))
	})
	for _, row := range rows {
		settings.ZoneCosts = append(settings.ZoneCosts, &orderv1.ZoneCost{FarmId: row.FarmID, ZoneId: row.ZoneID, MinorPerKg: row.MinorPerKilo})
		from.lines[0] = append(from.lines[0], row.Line)
	}
	return r.saveSettings(ctx, from, settings, "zone_costs")
}

// saveSettings saves the settings' fields that a file gives.
func (r *run) saveSettings(ctx context.Context, from source, wanted *orderv1.MatchSettings, own ...protoreflect.Name) (Outcome, error) {
	kept, err := r.Order.GetMatchSettings(ctx, &orderv1.GetMatchSettingsRequest{})
	if err != nil {
		return Outcome{}, err
	}
	have := make(map[string]*orderv1.MatchSettings)
	if kept.GetEtag() != "" {
		have[""] = kept
	}
	p := compare([]item[*orderv1.MatchSettings]{{wanted, from.lines[0]}}, have, func(*orderv1.MatchSettings) string { return "" }, own...)
	return save(ctx, r, from, p, func(list []*orderv1.MatchSettings) *orderv1.SaveMatchSettingsRequest {
		return &orderv1.SaveMatchSettingsRequest{Settings: list[0]}
	}, r.Order.SaveMatchSettings)
}
