package server

import (
	"fmt"
	"math"
	"time"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/fillplan"
	"breakshare.example/services/scheduling/internal/proposal"
)

// reader turns plans into messages.
type reader struct {
	at      *situation
	problem *proposal.Problem
	begun   time.Time
}

// minor turns thousandths of a minor unit into minor units, half away from zero.
func minor(m int64) int64 {
	if m < 0 {
		return -minor(-m)
	}
	return (m + 500) / 1000
}

// message is a plan with the bound that is proven so far.
func (r *reader) message(plan fillplan.Plan, bound int64) (*schedulingv1.Proposal, error) {
	in := r.problem.Instance
	cost, wish := fillplan.Evaluate(in, plan.Fills), r.problem.Wishes.WishM(plan.Fills)+r.problem.UnevenM(plan.Fills)
	out := &schedulingv1.Proposal{
		FirstWeek: r.at.First.String(), Weeks: int32(r.at.Weeks), CurrencyCode: r.at.currency,
		CostMinor: minor(cost.M()), ShortMinor: minor(cost.Short), OverMinor: minor(cost.Over), FillMinor: minor(cost.Fill),
		WishMinor: minor(wish), BoundMinor: floor(bound), Optimal: bound == cost.M()+wish,
		ElapsedMs: time.Since(r.begun).Milliseconds(), Notes: r.problem.Notes,
	}
	if bound > 0 {
		gap := int64(math.Ceil(float64(cost.M()+wish-bound) / float64(bound) * 1000))
		out.GapPerMille = &gap
	}
	fills, dropped, err := r.problem.Read(plan)
	if err != nil {
		return nil, err
	}
	for _, d := range fills {
		out.Fills = append(out.Fills, r.fill(d))
	}
	for _, c := range dropped {
		out.Dropped = append(out.Dropped, &schedulingv1.DroppedCrop{
			CropId: c.ID, RoomId: c.RoomID, FillDate: c.Fill.String(), Etag: etag(r.at.crops[c.ID].Version),
		})
	}
	out.Kinds = r.kinds(plan)
	out.Yard = r.yard(plan)
	reports, err := r.problem.Farms(fills)
	if err != nil {
		return nil, err
	}
	out.Farms = each(reports, r.farm)
	return out, nil
}

// floor turns a bound into minor units, never above it.
func floor(m int64) int64 {
	if m < 0 {
		return -((-m + 999) / 1000)
	}
	return m / 1000
}

func (r *reader) fill(d proposal.Dated) *schedulingv1.ProposedFill {
	room := r.at.Rooms[d.Room]
	out := &schedulingv1.ProposedFill{
		RoomId: room.ID, FarmId: room.FarmID, ProgrammeId: r.at.Programmes[d.Programme].ID, Week: d.Week.String(),
		FillDate: d.FillDate.String(), FirstPickDate: d.FirstPick.String(), FreeDate: d.Free.String(),
		CompostGrams: d.CompostGrams, CropId: d.CropID,
		CostMinor: minor(fillplan.Evaluate(r.problem.Instance, []fillplan.Fill{d.Fill}).Fill),
	}
	for _, k := range r.problem.Wishes.Keep {
		out.Pinned = out.Pinned || k == d.Fill
	}
	return out
}

func (r *reader) kinds(plan fillplan.Plan) []*schedulingv1.KindPlan {
	in := r.problem.Instance
	proposed := make([][]int64, len(in.Products))
	for k := range proposed {
		proposed[k] = make([]int64, in.Weeks)
	}
	for _, f := range plan.Fills {
		area := in.Rooms[f.Room].Area
		for i, row := range in.Programmes[f.Programme].YieldGrams {
			for k, grams := range row {
				if f.Week+i < in.Weeks {
					proposed[k][f.Week+i] += grams * area
				}
			}
		}
	}
	var out []*schedulingv1.KindPlan
	for k, kind := range r.at.Kinds {
		p := &schedulingv1.KindPlan{Kind: kindMessage(kind.Product), ProductIds: productIDs(r.at.products, kind.Product)}
		for w := range in.Weeks {
			p.Weeks = append(p.Weeks, kindWeek(r.at.First.Add(7*w), in.SupplyGrams[k][w], proposed[k][w], in.DemandGrams[k][w]))
		}
		out = append(out, p)
	}
	return out
}

func kindWeek(week calendar.Date, committed, proposed, demand int64) *schedulingv1.KindWeek {
	supply := committed + proposed
	return &schedulingv1.KindWeek{
		Week: week.String(), CommittedGrams: committed, ProposedGrams: proposed, DemandGrams: &demand,
		ShortGrams: max(0, demand-supply), OverGrams: max(0, supply-demand),
	}
}

func (r *reader) yard(plan fillplan.Plan) []*schedulingv1.YardWeek {
	in := r.problem.Instance
	used := make([]int64, in.Weeks)
	for _, f := range plan.Fills {
		used[f.Week] += in.Programmes[f.Programme].CompostKg * in.Rooms[f.Room].Area
	}
	var out []*schedulingv1.YardWeek
	for w, y := range r.problem.Yard {
		out = append(out, &schedulingv1.YardWeek{
			Week: r.at.First.Add(7 * w).String(), CapacityKg: in.YardKg[w], UsedKg: used[w], Reckoned: y.Reckoned,
		})
	}
	return out
}

func (r *reader) farm(f proposal.FarmReport) *schedulingv1.FarmPlan {
	out := &schedulingv1.FarmPlan{
		FarmId: f.Farm.ID, MemberShares: int32(f.Farm.Shares), Grams: f.Grams, FairGrams: f.Fair,
		PeakMinutes: f.PeakMinutes, WeeksOverLimit: int32(f.WeeksOverLimit),
	}
	if f.PeakWeek >= 0 {
		out.PeakWeek = r.at.First.Add(7 * f.PeakWeek).String()
	}
	return out
}

// final is the last proposal, each fill explained.
func (r *reader) final(result fillplan.Result) (*schedulingv1.Proposal, error) {
	out, err := r.message(result.Plan, result.BoundM)
	if err != nil {
		return nil, err
	}
	out.Final = true
	for i, f := range result.Plan.Canonical().Fills {
		why, err := fillplan.Explain(r.problem.Instance, result.Plan, f)
		if err != nil {
			return nil, err
		}
		r.explain(result.Plan, out.GetFills()[i], why)
	}
	return out, nil
}

func (r *reader) explain(plan fillplan.Plan, fill *schedulingv1.ProposedFill, why fillplan.Explanation) {
	for _, s := range why.Serves {
		fill.Serves = append(fill.Serves, &schedulingv1.ServedWeek{
			Kind: kindMessage(r.at.Kinds[s.Product].Product), Week: r.at.First.Add(7 * s.Week).String(), Grams: s.Grams, ShortGrams: s.ShortGrams,
		})
	}
	without := minor(why.WithoutM)
	fill.WithoutMinor = &without
	fill.Earlier, fill.Later = r.moved(plan, why.Fill, why.Earlier), r.moved(plan, why.Fill, why.Later)
}

func (r *reader) moved(plan fillplan.Plan, f fillplan.Fill, m fillplan.Move) *schedulingv1.FillMove {
	out := &schedulingv1.FillMove{Week: r.monday(m.Week), Possible: m.Possible, ChangeMinor: minor(m.ChangeM)}
	if !m.Possible {
		out.Reason = r.inTheWay(plan, f, m.Week)
	}
	return out
}

func (r *reader) monday(week int) string { return r.at.First.Add(7 * week).String() }

// inTheWay says in people's words why a fill cannot be made in another week, all
// else as planned.
func (r *reader) inTheWay(plan fillplan.Plan, f fillplan.Fill, week int) string {
	in := r.problem.Instance
	room := in.Rooms[f.Room]
	switch {
	case week < 0 || week >= in.Weeks:
		return "the week lies outside those planned"
	case week < room.Free:
		return fmt.Sprintf("room %s is not free before the week of %s", room.ID, r.monday(room.Free))
	}
	left := in.YardKg[week]
	for _, other := range plan.Fills {
		if other == f {
			continue
		}
		if other.Room == f.Room && other.Week < week+in.Programmes[f.Programme].Weeks && week < other.Week+in.Programmes[other.Programme].Weeks {
			return fmt.Sprintf("room %s would still be held, or needed again too soon: it is filled in the week of %s too", room.ID, r.monday(other.Week))
		}
		if other.Week == week {
			left -= in.Programmes[other.Programme].CompostKg * in.Rooms[other.Room].Area
		}
	}
	return fmt.Sprintf("it takes %d kg of compost, and the yards have %d kg left in the week of %s", in.Programmes[f.Programme].CompostKg*room.Area, left, r.monday(week))
}
