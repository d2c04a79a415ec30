package lotpage

import (
	"bytes"
	"fmt"
	"strconv"
	"time"

	"github.com/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

// Millimetres of an A4 page.
const (
	margin     = 11.0
	pageWidth  = 210.0
	pageHeight = 297.0
	inner      = pageWidth - 2*margin
	gutter     = 5.0
)

var toneColours = map[tone]string{good: "#1d6b34", bad: red, open: "#8a5a00", plain: ink}

// PDF writes the report as one page of A4. Made is the instant that the document names as its
// own: the same report makes the same bytes.
func PDF(r *compostlotv1.LotReport, c *compostlotv1.LotChart, zone *time.Location, made time.Time) ([]byte, error) {
	p := compose(r, c, zone)
	p.printable()
	// Text shrinks until the page holds all; where even small text is too much, the page grows,
	// so that nothing is cut off.
	const largest, smallest = 7.2, 4.8
	var out *sheet
	for size := largest; ; size -= 0.6 {
		out = newSheet(size, pageHeight, p.Title, made)
		if out.page(p); out.end() <= pageHeight-margin {
			break
		}
		if size <= smallest {
			out = newSheet(size, out.end()+margin, p.Title, made)
			out.page(p)
			break
		}
	}
	var b bytes.Buffer
	if err := out.doc.Output(&b); err != nil {
		return nil, fmt.Errorf("lot report as PDF: %w", err)
	}
	return b.Bytes(), nil
}

// sheet is a page in the making.
type sheet struct {
	doc  *fpdf.Fpdf
	size float64 // of text, points
}

func newSheet(size, height float64, title string, made time.Time) *sheet {
	doc := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: pageWidth, Ht: height}})
	doc.SetMargins(margin, margin, margin)
	doc.SetAutoPageBreak(false, 0)
	doc.AddUTF8FontFromBytes("go", "", goregular.TTF)
	doc.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	doc.SetCellMargin(0)
	doc.SetTitle(title, true)
	doc.SetCreationDate(made)
	doc.SetModificationDate(made)
	doc.SetCatalogSort(true)
	doc.AddPage()
	return &sheet{doc: doc, size: size}
}

func (s *sheet) end() float64 { return s.doc.GetY() }

func (s *sheet) lineHeight() float64 { return s.size * 0.42 }

func (s *sheet) font(style string, size float64, colour string) {
	s.doc.SetFont("go", style, size)
	r, g, b := rgb(colour)
	s.doc.SetTextColor(r, g, b)
}

// rgb reads a colour written as #rrggbb.
func rgb(colour string) (r, g, b int) {
	v, err := strconv.ParseUint(colour[1:], 16, 32)
	if err != nil {
		return 0, 0, 0
	}
	return int(v >> 16), int(v >> 8 & 255), int(v & 255)
}

func (s *sheet) page(p *page) {
	d, h := s.doc, s.lineHeight()
	s.font("B", 15, ink)
	d.CellFormat(inner*.6, 6.5, p.Title, "", 0, "L", false, 0, "")
	s.font("", 9, ink)
	d.CellFormat(inner*.4, 6.5, p.Subtitle, "", 1, "R", false, 0, "")
	s.font("", s.size+.6, grey)
	facts := ""
	for i, f := range p.Facts {
		if i > 0 {
			facts += "  ·  "
		}
		facts += f
	}
	d.CellFormat(inner, h+1, facts, "", 1, "L", false, 0, "")
	s.status(p)
	for _, c := range p.Charts {
		height := 36.0
		if len(p.Charts) > 3 {
			height = 29
		}
		c.draw(&pdfCanvas{s}, margin, d.GetY()+1, inner, height)
		d.SetXY(margin, d.GetY()+height+1.5)
	}
	s.tables(p.Tables)
	d.SetXY(margin, d.GetY()+1.5)
	s.cautions(p.Cautions)
	s.font("", s.size-.6, grey)
	d.SetX(margin)
	d.CellFormat(inner, h+1, p.Foot, "", 1, "L", false, 0, "")
}

func (s *sheet) status(p *page) {
	d, h := s.doc, s.lineHeight()
	y := d.GetY() + .8
	s.font("B", s.size+1, toneColours[p.Tone])
	d.SetXY(margin+3, y)
	d.MultiCell(inner-3, h+.9, p.Status, "", "L", false)
	r, g, b := rgb(toneColours[p.Tone])
	d.SetFillColor(r, g, b)
	d.Rect(margin, y, 1.4, d.GetY()-y, "F")
	d.SetXY(margin, d.GetY()+.5)
}

// tables sets the first, the widest, across the page and the others in two columns.
func (s *sheet) tables(all []table) {
	s.table(all[0], margin, s.doc.GetY(), inner)
	half := (inner - gutter) / 2
	left, right := s.doc.GetY()+1, s.doc.GetY()+1
	for _, t := range all[1:] {
		if left <= right {
			left = s.table(t, margin, left, half) + 1
		} else {
			right = s.table(t, margin+half+gutter, right, half) + 1
		}
	}
	s.doc.SetXY(margin, max(left, right))
}

// table sets a table at a place and returns where it ends.
func (s *sheet) table(t table, x, y, width float64) float64 {
	d, h := s.doc, s.lineHeight()
	s.font("B", s.size+.8, ink)
	d.SetXY(x, y)
	d.MultiCell(width, h+.8, t.Title, "", "L", false)
	if len(t.Rows) > 0 {
		s.cells(t, row{plain, t.Heads}, x, width, true)
	}
	for _, r := range t.Rows {
		s.cells(t, r, x, width, false)
	}
	if t.More != "" {
		s.font("", s.size, ink)
		d.SetX(x)
		d.MultiCell(width, h, t.More, "", "L", false)
	}
	return d.GetY()
}

// cells sets one row; it is as high as its highest cell.
func (s *sheet) cells(t table, r row, x, width float64, head bool) {
	d, h := s.doc, s.lineHeight()
	top, bottom := d.GetY()+.3, d.GetY()+.3
	for i, text := range r.Cells {
		switch {
		case head:
			s.font("B", s.size-.4, grey)
		case i == 0:
			s.font("B", s.size, toneColours[r.Tone])
		default:
			s.font("", s.size, ink)
		}
		d.SetXY(x, top)
		d.MultiCell(t.Widths[i]*width-1, h, text, "", "L", false)
		bottom = max(bottom, d.GetY())
		x += t.Widths[i] * width
	}
	r1, g1, b1 := rgb(light)
	d.SetDrawColor(r1, g1, b1)
	d.SetLineWidth(.15)
	d.Line(x-width, bottom+.2, x, bottom+.2)
	d.SetXY(x-width, bottom+.3)
}

func (s *sheet) cautions(all []string) {
	d, h := s.doc, s.lineHeight()
	y := d.GetY()
	d.SetXY(margin+1.5, y+1)
	s.font("", s.size, ink)
	for _, text := range all {
		d.SetX(margin + 1.5)
		d.MultiCell(inner-3, h, text, "", "L", false)
	}
	r, g, b := rgb(red)
	d.SetDrawColor(r, g, b)
	d.SetLineWidth(.3)
	d.Rect(margin, y, inner, d.GetY()-y+1, "D")
	d.SetXY(margin, d.GetY()+1.5)
}

// pdfCanvas draws a chart onto the sheet, in millimetres.
type pdfCanvas struct{ s *sheet }

const mmPerPoint = 0.3528

func (c *pdfCanvas) line(x, y []float64, colour string, width float64, dashed bool) {
	d := c.s.doc
	r, g, b := rgb(colour)
	d.SetDrawColor(r, g, b)
	d.SetLineWidth(width * mmPerPoint * .75)
	if dashed {
		d.SetDashPattern([]float64{1.2, .9}, 0)
		defer d.SetDashPattern(nil, 0)
	}
	d.MoveTo(x[0], y[0])
	for i := 1; i < len(x); i++ {
		d.LineTo(x[i], y[i])
	}
	d.DrawPath("D")
}

func (c *pdfCanvas) area(x, y []float64, colour string) {
	d := c.s.doc
	r, g, b := rgb(colour)
	d.SetFillColor(r, g, b)
	d.SetAlpha(.18, "Normal")
	points := make([]fpdf.PointType, len(x))
	for i := range x {
		points[i] = fpdf.PointType{X: x[i], Y: y[i]}
	}
	d.Polygon(points, "F")
	d.SetAlpha(1, "Normal")
}

func (c *pdfCanvas) text(x, y float64, text, colour, anchor string) {
	c.s.font("", chartText, colour)
	switch anchor {
	case "middle":
		x -= c.textWidth(text) / 2
	case "end":
		x -= c.textWidth(text)
	}
	c.s.doc.Text(x, y, text)
}

func (c *pdfCanvas) blank(x, y, width, height float64) {
	c.s.doc.SetAlpha(.85, "Normal")
	c.s.doc.SetFillColor(255, 255, 255)
	c.s.doc.Rect(x, y, width, height, "F")
	c.s.doc.SetAlpha(1, "Normal")
}

const chartText = 6.2 // points

func (c *pdfCanvas) textHeight() float64 { return chartText * mmPerPoint }

func (c *pdfCanvas) textWidth(text string) float64 {
	c.s.doc.SetFont("go", "", chartText)
	return c.s.doc.GetStringWidth(text)
}
