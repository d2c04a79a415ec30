package web

import (
	"fmt"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// Measures of the drawn tree, in its own units.
const (
	nodeWidth, nodeHeight = 216, 52
	columnStep, rowStep   = 250, 66
	treeMargin, treeHead  = 4, 30
	// mostNodes is how many nodes a generation is drawn with before it is summed up.
	mostNodes = 24
	// longestLabel is how many characters of a label fit a node.
	longestLabel = 24
)

// tree is a family drawn from left to right: compost lot, crop, pick lot, kitchen.
type tree struct {
	Width, Height int
	Heads         []treeHeading
	Nodes         []node
	Edges         []edge
	columns       [][]int
	byKey         map[string]int
}

// node is one member of the family.
type node struct {
	X, Y       int
	Kind       string // "compost", "crop", "lot", "kitchen", "pack"
	Top, Under string
	Href       string
	Marked     bool // held or released as an exception
	Asked      bool // the code that was asked for
	column     int
}

// treeHeading names a generation.
type treeHeading struct {
	X   int
	Key string
}

// headings are the keys of the generations' names.
var headings = []string{"trace.compost_lot", "word.crop", "trace.pick_lot", "word.kitchen"}

// edge joins two members.
type edge struct{ X1, Y1, X2, Y2 int }

type link struct{ from, to int }

// drawing gathers members and links before they have places.
type drawing struct {
	tree
	links map[link]bool
	order []link
}

func newDrawing(columns int) *drawing {
	return &drawing{tree: tree{columns: make([][]int, columns), byKey: map[string]int{}}, links: map[link]bool{}}
}

// add adds a member once and returns its number.
func (d *drawing) add(column int, key string, n node) int {
	key = fmt.Sprint(column, key)
	if i, ok := d.byKey[key]; ok {
		return i
	}
	n.column = column
	n.Top, n.Under = short(n.Top), short(n.Under)
	d.Nodes = append(d.Nodes, n)
	i := len(d.Nodes) - 1
	d.byKey[key] = i
	d.columns[column] = append(d.columns[column], i)
	return i
}

func (d *drawing) join(from, to int) {
	l := link{from, to}
	if !d.links[l] {
		d.links[l] = true
		d.order = append(d.order, l)
	}
}

// place gives every member its place: each generation in a column, centred on the tallest.
func (d *drawing) place() tree {
	tallest := 0
	used := 0
	for _, column := range d.columns {
		tallest = max(tallest, len(column))
		if len(column) > 0 {
			used++
		}
	}
	x := treeMargin
	for i, column := range d.columns {
		if len(column) == 0 {
			continue
		}
		d.Heads = append(d.Heads, treeHeading{x, headings[i]})
		for row, i := range column {
			d.Nodes[i].X = x
			d.Nodes[i].Y = treeHead + row*rowStep + (tallest-len(column))*rowStep/2
		}
		x += columnStep
	}
	for _, l := range d.order {
		a, b := d.Nodes[l.from], d.Nodes[l.to]
		d.Edges = append(d.Edges, edge{a.X + nodeWidth, a.Y + nodeHeight/2, b.X, b.Y + nodeHeight/2})
	}
	d.Width = used*columnStep - (columnStep - nodeWidth) + 2*treeMargin
	d.Height = tallest*rowStep - (rowStep - nodeHeight) + treeHead + treeMargin
	return d.tree
}

func short(label string) string {
	runes := []rune(label)
	if len(runes) <= longestLabel {
		return label
	}
	return string(runes[:longestLabel-1]) + "…"
}

func (d *drawing) compost(c *harvestv1.CompostTrace, n names, asked bool) int {
	return d.add(0, c.GetCompostLotId(), node{
		Kind: "compost", Top: c.GetCompostLotId(), Under: nameOf(n.yards, c.GetYardId()), Href: "/trace?code=" + c.GetCompostLotId(),
		Marked: c.GetHeld() || c.GetExceptionReason() != "", Asked: asked,
	})
}

func (d *drawing) crop(c *harvestv1.CropTrace, n names) int {
	return d.add(1, c.GetCropId(), node{Kind: "crop", Top: nameOf(n.rooms, c.GetRoomId()), Under: nameOf(n.farms, c.GetFarmId())})
}

func pickLotNode(v *visit, l *harvestv1.PickLot, n names) node {
	return node{
		Kind: "lot", Top: n.product(l.GetProductId()), Under: v.words.T("trace.picked_on", v.words.ShortDay(l.GetDate())), Href: "/trace?code=" + l.GetPickLotId(),
		Marked: l.GetHeld() || l.GetCompostException() != "",
	}
}

// backTree draws where a pack or a pick lot comes from, and the kitchens that the lot went to.
func backTree(v *visit, pack *orderv1.Pack, lot *harvestv1.PickLot, crop *harvestv1.CropTrace, went []recallRow, n names) tree {
	d := newDrawing(len(headings))
	at := d.crop(crop, n)
	for _, c := range crop.GetCompost() {
		d.join(d.compost(c, n, false), at)
	}
	of := pickLotNode(v, lot, n)
	of.Asked = pack == nil
	from := d.add(2, lot.GetPickLotId(), of)
	d.join(at, from)
	perKitchen, total := map[string]int64{}, int64(0)
	for _, row := range went {
		perKitchen[row.customerID] += row.Packs
		total += row.Packs
	}
	if pack != nil {
		d.join(from, d.add(3, pack.GetPackId(), node{Kind: "pack", Top: pack.GetPackId(), Under: nameOf(n.customers, pack.GetCustomerId()), Asked: true}))
	}
	sum := len(perKitchen) > mostNodes
	for _, row := range went {
		key, one := row.customerID, node{Kind: "kitchen", Top: row.Customer, Under: v.words.N("unit.n_packs", perKitchen[row.customerID])}
		if sum {
			key, one.Top, one.Under = "", v.words.N("trace.kitchens", int64(len(perKitchen))), v.words.N("unit.n_packs", total)
		}
		d.join(from, d.add(3, key, one))
	}
	return d.place()
}

// forwardTree draws what came from a compost lot. Generations of many are summed up: pick
// lots by crop and product, kitchens into one; the list has each.
func forwardTree(v *visit, res *orderv1.TraceForwardResponse, n names) tree {
	d := newDrawing(len(headings))
	lot := d.compost(res.GetCompost(), n, true)
	crops := map[string]int{}
	for _, c := range res.GetCrops() {
		crops[c.GetCropId()] = d.crop(c, n)
		d.join(lot, crops[c.GetCropId()])
		for _, other := range c.GetCompost() {
			d.join(d.compost(other, n, other.GetCompostLotId() == res.GetCompost().GetCompostLotId()), crops[c.GetCropId()])
		}
	}
	sumLots := len(res.GetPickLots()) > mostNodes
	counts := map[string]int64{}
	for _, l := range res.GetPickLots() {
		counts[l.GetCropId()+"."+l.GetProductId()]++
	}
	lots := map[string]int{}
	for _, l := range res.GetPickLots() {
		key, one := l.GetPickLotId(), pickLotNode(v, l, n)
		if sumLots {
			key = l.GetCropId() + "." + l.GetProductId()
			one.Href, one.Under = "", v.words.N("trace.pick_lots", counts[key])
		}
		lots[l.GetPickLotId()] = d.add(2, key, one)
		if crop, ok := crops[l.GetCropId()]; ok {
			d.join(crop, lots[l.GetPickLotId()])
		}
	}
	d.kitchens(v, res.GetPacks(), lots, n)
	return d.place()
}

func (d *drawing) kitchens(v *visit, packs []*orderv1.Pack, lots map[string]int, n names) {
	perKitchen := map[string]int64{}
	for _, p := range packs {
		perKitchen[p.GetCustomerId()]++
	}
	sum := len(perKitchen) > mostNodes
	for _, p := range packs {
		key, one := p.GetCustomerId(), node{Kind: "kitchen", Top: nameOf(n.customers, p.GetCustomerId()), Under: v.words.N("unit.n_packs", perKitchen[p.GetCustomerId()])}
		if sum {
			key, one.Top, one.Under = "", v.words.N("trace.kitchens", int64(len(perKitchen))), v.words.N("unit.n_packs", int64(len(packs)))
		}
		to := d.add(3, key, one)
		if from, ok := lots[p.GetPickLotId()]; ok {
			d.join(from, to)
		}
	}
}
