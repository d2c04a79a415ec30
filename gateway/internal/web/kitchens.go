package web

import (
	"net/url"

	"google.golang.org/protobuf/proto"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
)

// kitchensPage lists the kitchens with what they wish.
type kitchensPage struct{ Kitchens *table }

// showKitchens lists the kitchens.
func (p *Pages) showKitchens(v *visit, _ *form) (view, error) {
	var (
		res *orderv1.ListCustomersResponse
		n   names
	)
	err := together(v.ctx,
		ask(&res, p.order.ListCustomers, &orderv1.ListCustomersRequest{}),
		p.naming(&n, farmNames),
	)
	if err != nil {
		return view{}, err
	}
	page := kitchensPage{}
	if len(res.GetCustomers()) > 0 {
		t := &table{ID: "kitchens", Caption: v.words.T("kitchens.title"), Columns: []column{
			{Key: "word.kitchen", Name: "kitchen"}, {Key: "kitchens.place", Name: "place"}, {Key: "kitchens.class", Name: "priority_class", Figures: true}, {Key: "kitchens.weight", Name: "share_weight", Figures: true},
			{Key: "settings.zone", Name: "zone_id"}, {Key: "kitchens.wishes", Name: "wishes"},
		}}
		for _, c := range res.GetCustomers() {
			t.Rows = append(t.Rows, []cell{
				name(c.GetName()).to("/kitchens/" + url.PathEscape(c.GetCustomerId())), name(c.GetPlace()), v.count(int64(c.GetPriorityClass())), v.count(int64(max(1, c.GetShareWeight()))),
				code(c.GetZoneId()), name(wishesOf(v, c, n)),
			})
		}
		page.Kitchens = v.table(t)
	}
	return view{template: "kitchens", title: "kitchens.title", data: page}, nil
}

// wishesOf sums up what a kitchen wishes, in words.
func wishesOf(v *visit, c *orderv1.Customer, n names) string {
	says := ""
	add := func(text string) {
		if says != "" {
			says += "; "
		}
		says += text
	}
	if k := len(c.GetSubstitutes()); k > 0 {
		add(v.words.N("kitchens.n_substitutes", int64(k)))
	}
	if g := c.GetGradeSteps(); g.GetPoorer()+g.GetBetter() > 0 {
		add(v.words.T("kitchens.other_grades"))
	}
	if k := len(c.GetExcludedFarmIds()); k > 0 {
		add(v.words.N("kitchens.n_excluded", int64(k)))
	}
	if c.GetOnlyFarmId() != "" {
		add(v.words.T("kitchens.only_from", nameOf(n.farms, c.GetOnlyFarmId())))
	}
	if c.GetOneFarm() {
		add(v.words.T("kitchens.one_farm_short"))
	}
	return says
}

// kitchenPage is one kitchen's wishes with the form that changes them.
type kitchenPage struct {
	Name, Place, Etag       string
	ID                      string
	Form                    *form
	Done                    bool
	Class, Weight, Zone     input
	Substitutes             []substituteRow
	Poorer, Better, PerStep input
	Excluded                []feedChoiceTicked
	Only                    []roomChoice
	OneFarm                 bool
}

// substituteRow is a product taken in place of another.
type substituteRow struct {
	Ordered, Instead         []roomChoice
	OrderedName, InsteadName string
	Reluctance               input
}

// feedChoiceTicked is a choice of several.
type feedChoiceTicked struct {
	Value, Label string
	Ticked       bool
}

// showKitchen shows one kitchen.
func (p *Pages) showKitchen(v *visit, f *form) (view, error) {
	c, n, err := p.kitchen(v)
	if err != nil {
		return view{}, err
	}
	page := kitchenPage{Name: c.GetName(), Place: c.GetPlace(), Etag: c.GetEtag(), ID: c.GetCustomerId(), Form: f, Done: v.r.URL.Query().Get("done") != ""}
	field := func(kind, name, label, value, unit string) input {
		return newInput(f, "kitchen", kind, name, v.words.T(label), value, unit)
	}
	currency := v.coop.GetCurrencyCode()
	page.Class = field("whole", "priority_class", "kitchens.class", plain(int64(c.GetPriorityClass())), "")
	page.Weight = field("whole", "share_weight", "kitchens.weight", plain(int64(max(1, c.GetShareWeight()))), "")
	page.Zone = field("text", "zone_id", "settings.zone", c.GetZoneId(), "")
	for i := range rowsOf(f, "sub_reluctance", len(c.GetSubstitutes())) {
		var kept orderv1.Substitute
		r := substituteRow{OrderedName: row("sub_ordered", i), InsteadName: row("sub_instead", i)}
		value := ""
		if i < len(c.GetSubstitutes()) {
			kept.ProductId, kept.InsteadProductId = c.GetSubstitutes()[i].GetProductId(), c.GetSubstitutes()[i].GetInsteadProductId()
			value = v.words.Exact(c.GetSubstitutes()[i].GetReluctanceMinor() * 10)
		}
		r.Ordered, r.Instead = productChoices(n, f.Value(r.OrderedName, kept.GetProductId())), productChoices(n, f.Value(r.InsteadName, kept.GetInsteadProductId()))
		r.Reluctance = field("kg", row("sub_reluctance", i), "kitchens.reluctance", value, currency)
		page.Substitutes = append(page.Substitutes, r)
	}
	g := c.GetGradeSteps()
	page.Poorer = field("whole", "poorer", "kitchens.poorer", wholeOr(int64(g.GetPoorer())), "")
	page.Better = field("whole", "better", "kitchens.better", wholeOr(int64(g.GetBetter())), "")
	page.PerStep = field("kg", "reluctance_minor_per_step", "kitchens.per_step", v.words.Exact(g.GetReluctanceMinorPerStep()*10), currency)
	excluded := map[string]bool{}
	for _, id := range c.GetExcludedFarmIds() {
		excluded[id] = true
	}
	if f.Sent() {
		excluded = map[string]bool{}
		for _, id := range f.values["excluded"] {
			excluded[id] = true
		}
	}
	only := f.Value("only_farm_id", c.GetOnlyFarmId())
	page.Only = append(page.Only, roomChoice{"", v.words.T("line.any_farm"), only == ""})
	for _, id := range sortedKeys(n.farms) {
		page.Excluded = append(page.Excluded, feedChoiceTicked{id, n.farms[id], excluded[id]})
		page.Only = append(page.Only, roomChoice{id, n.farms[id], only == id})
	}
	page.OneFarm = c.GetOneFarm()
	if f.Sent() {
		page.OneFarm = f.Value("one_farm", "") != ""
	}
	return view{template: "kitchen", title: "kitchens.title", data: page}, nil
}

func productChoices(n names, chosen string) []roomChoice {
	all := []roomChoice{{Chosen: chosen == ""}}
	for _, id := range sortedKeys(n.products) {
		all = append(all, roomChoice{id, n.product(id), id == chosen})
	}
	return all
}

// kitchen is the kitchen of the address, with the names that its wishes need.
func (p *Pages) kitchen(v *visit) (*orderv1.Customer, names, error) {
	var (
		res *orderv1.ListCustomersResponse
		n   names
	)
	err := together(v.ctx,
		ask(&res, p.order.ListCustomers, &orderv1.ListCustomersRequest{}),
		p.naming(&n, farmNames|productNames),
	)
	if err != nil {
		return nil, n, err
	}
	for _, c := range res.GetCustomers() {
		if c.GetCustomerId() == v.r.PathValue("kitchen") {
			return c, n, nil
		}
	}
	return nil, n, fault.New(fault.NotFound, "NO_KITCHEN", "%s", v.words.T("kitchens.no_such"))
}

// saveKitchen changes a kitchen's wishes; matches run from then on keep to them.
func (p *Pages) saveKitchen(v *visit) (view, error) {
	kept, _, err := p.kitchen(v)
	if err != nil {
		return view{}, err
	}
	paths := rowPaths{}
	c := proto.CloneOf(kept)
	c.Etag = v.r.PostFormValue("etag")
	if err = v.wishes(c, paths); err == nil {
		_, err = p.order.SaveCustomer(v.ctx, &orderv1.SaveCustomerRequest{RequestId: v.r.PostFormValue("request_id"), Customer: c})
	}
	if err != nil {
		return again(v, err, p.showKitchen, paths.name)
	}
	return view{goTo: "/kitchens/" + url.PathEscape(c.GetCustomerId()) + "?done=yes"}, nil
}

// wishes reads the form into a customer.
func (v *visit) wishes(c *orderv1.Customer, paths rowPaths) error {
	figures := map[string]int64{}
	for name, most := range map[string]int64{"priority_class": 9, "share_weight": 1000, "poorer": 10, "better": 10} {
		n, err := v.upTo(name, most)
		if err != nil {
			return err
		}
		figures[name] = n
	}
	perStep, err := v.minor("reluctance_minor_per_step")
	if err != nil {
		return err
	}
	c.PriorityClass, c.ShareWeight, c.ZoneId = int32(figures["priority_class"]), int32(figures["share_weight"]), v.text("zone_id")
	c.GradeSteps = nil
	if figures["poorer"]+figures["better"] > 0 {
		c.GradeSteps = &orderv1.GradeSteps{Poorer: int32(figures["poorer"]), Better: int32(figures["better"]), ReluctanceMinorPerStep: perStep}
	}
	c.ExcludedFarmIds, c.OnlyFarmId, c.OneFarm = v.r.PostForm["excluded"], v.text("only_farm_id"), v.r.PostFormValue("one_farm") != ""
	c.Substitutes = nil
	for _, i := range v.rows("sub_reluctance", "sub_ordered", "sub_instead") {
		minor, err := v.minor(row("sub_reluctance", i))
		if err != nil {
			return err
		}
		paths.add("customer.substitutes", len(c.GetSubstitutes()), i, "product_id", "sub_reluctance", "instead_product_id", "sub_reluctance", "reluctance_minor", "sub_reluctance")
		c.Substitutes = append(c.Substitutes, &orderv1.Substitute{ProductId: v.text(row("sub_ordered", i)), InsteadProductId: v.text(row("sub_instead", i)), ReluctanceMinor: minor})
	}
	return nil
}
