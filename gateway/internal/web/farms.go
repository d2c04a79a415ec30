package web

import (
	"strings"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
)

// farmsPage is the farms with their member shares and what carrying to the hub costs.
type farmsPage struct {
	Form  *form
	Done  bool
	Farms []farmCard
}

// farmCard is one farm's figures.
type farmCard struct {
	Name, Place   string
	ID, Etag      string
	Shares, Carry input
}

// showFarms shows the farms' figures in one form.
func (p *Pages) showFarms(v *visit, f *form) (view, error) {
	res, err := p.scheduling.ListFarms(v.ctx, &schedulingv1.ListFarmsRequest{})
	if err != nil {
		return view{}, err
	}
	page := farmsPage{Form: f, Done: v.r.URL.Query().Get("done") != ""}
	for _, one := range res.GetFarms() {
		id := one.GetFarmId()
		page.Farms = append(page.Farms, farmCard{
			Name: one.GetName(), Place: one.GetPlace(), ID: id, Etag: f.Value("etag."+id, one.GetEtag()),
			Shares: newInput(f, "farms", "whole", "shares."+id, v.words.T("farms.shares"), plain(int64(one.GetMemberShares())), ""),
			Carry:  newInput(f, "farms", "kg", "carry."+id, v.words.T("farms.carry"), v.words.Exact(v.words.PerMass(one.GetCarryCostMinorPerKg())*10), v.coop.GetCurrencyCode()+"/"+v.words.MassUnit()),
		})
	}
	return view{template: "farms", title: "farms.title", data: page}, nil
}

// saveFarms saves the farms whose figures changed, all or none.
func (p *Pages) saveFarms(v *visit) (view, error) {
	paths := map[string]string{}
	err := func() error {
		res, err := p.scheduling.ListFarms(v.ctx, &schedulingv1.ListFarmsRequest{})
		if err != nil {
			return err
		}
		req := &schedulingv1.BatchSaveFarmsRequest{RequestId: v.r.PostFormValue("request_id")}
		for _, one := range res.GetFarms() {
			id := one.GetFarmId()
			if !v.r.PostForm.Has("shares." + id) {
				continue
			}
			shares, err := v.upTo("shares."+id, 1_000_000)
			if err != nil {
				return err
			}
			minor, err := v.minor("carry." + id)
			if err != nil {
				return err
			}
			carry := v.words.ForMass(minor)
			if int64(one.GetMemberShares()) == shares && one.GetCarryCostMinorPerKg() == carry {
				continue
			}
			one.MemberShares, one.CarryCostMinorPerKg, one.Etag = int32(shares), carry, v.r.PostFormValue("etag."+id)
			at := "farms[" + plain(int64(len(req.GetFarms()))) + "]."
			paths[at+"member_shares"], paths[at+"carry_cost_minor_per_kg"] = "shares."+id, "carry."+id
			req.Farms = append(req.Farms, one)
		}
		if len(req.GetFarms()) == 0 {
			return fault.New(fault.Invalid, "NOTHING_CHANGED", "%s", v.words.T("farms.nothing"))
		}
		_, err = p.scheduling.BatchSaveFarms(v.ctx, req)
		return err
	}()
	if err != nil {
		return again(v, err, p.showFarms, func(path string) string { return nameOr(paths[strings.TrimPrefix(path, "request.")], path) })
	}
	return view{goTo: "/settings/farms?done=yes"}, nil
}
